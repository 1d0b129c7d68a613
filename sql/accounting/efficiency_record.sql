-- A pump's efficiency record: best sustained energy factor, knee speed, weighted energy factor on its own system.
-- Grain: one pump of the register; columns of tables.EFFICIENCY_RECORD.
-- Inputs: pump, pump_doubt (pump_id, doubt), best_factor, knee_speed, weighted_factor (pump_id and the columns of that
--   part of tables.EFFICIENCY_RECORD).
-- Parameters: none.
-- Columns with units: tables.EFFICIENCY_RECORD.
-- A pump whose data are in doubt, or that held no speed, says so and has no number.
with stated as (
    select
        pump.site_id, pump.pump_id,
        case
            when pump.pump_id in (select pump_id from pump_doubt) then 'its data are in doubt'
            when best_factor.pump_id is null then 'no speed held steadily'
        end as nothing,
        best_factor.* exclude (pump_id), knee_speed.* exclude (pump_id), weighted_factor.* exclude (pump_id)
    from pump
    left join best_factor using (pump_id)
    left join knee_speed using (pump_id)
    left join weighted_factor using (pump_id)
),
efficiency_record as (
    select
        site_id, pump_id,
        coalesce(nothing, best_state) as best_state,
        best_speed_rpm, best_longest_min, best_factor_m3kwh_lo, best_factor_m3kwh_mid, best_factor_m3kwh_hi,
        standby_w,
        coalesce(nothing, knee_state) as knee_state,
        knee_speed_rpm_lo, knee_speed_rpm_mid, knee_speed_rpm_hi,
        coalesce(nothing, weighted_state) as weighted_state,
        curve_c_flow_m3h, curve_c_hp, low_flow_m3h, low_speed_rpm, high_flow_m3h, high_speed_rpm,
        if(nothing is null, weighted_factor_m3kwh_lo, null) as weighted_factor_m3kwh_lo,
        if(nothing is null, weighted_factor_m3kwh_mid, null) as weighted_factor_m3kwh_mid,
        if(nothing is null, weighted_factor_m3kwh_hi, null) as weighted_factor_m3kwh_hi
    from stated
    order by pump_id
)
select * from efficiency_record
