-- The single-speed pump on each local day: its energy at its recorded hours and at the day's volume, with the ways in
-- which they may err.
-- Grain: one pump and local day of daily.
-- Inputs: daily (tables.DAILY), pump, speed_grid (tables.SPEED_GRID).
-- Parameters: half-widths as shares: $measured, $nameplate, $owner_record, $stipulated of the baseline power by
--   evidence, $baseline_flow of a baseline flow in the register.
-- Columns: those of daily, and: power_w, hours [h a day] of the baseline; flow_lo, _mid, _hi [m3/h]; evidence;
--   unproved: a baseline without its evidence; start_min: wall clock at which it began to run [min], null not recorded;
--   baseline_kwh; equal_kwh, at equal volume; baseline_off, equal_power_off: half-widths through its power [kWh];
--   equal_below, equal_above: through volume and flow [kWh].
-- It runs on the site's own system curve: its flow is that of full speed in speed_grid, unless the register gives one.
-- A baseline without evidence is no baseline: its power is null and nothing is claimed against it.
-- Baseline flow and volume that come off one system curve err together, so their ratio is taken at both ends of the
-- curve; all other terms are independent and add in quadrature.
with full_speed as (
    select
        pump.pump_id,
        speed_grid.flow_m3h_lo, speed_grid.flow_m3h_mid, speed_grid.flow_m3h_hi
    from pump
    join speed_grid
        on speed_grid.pump_id = pump.pump_id
        and speed_grid.speed_rpm = cast(round(pump.full_speed_rpm / 25) * 25 as bigint)
    where speed_grid.flow_m3h_mid > 0
),
baseline as (
    select
        pump.pump_id,
        case when pump.baseline_evidence is not null then pump.baseline_power_w end as power_w,
        pump.baseline_hours_per_day as hours,
        coalesce(pump.baseline_flow_m3h * (1 - $baseline_flow), full_speed.flow_m3h_lo) as flow_lo,
        coalesce(pump.baseline_flow_m3h, full_speed.flow_m3h_mid) as flow_mid,
        coalesce(pump.baseline_flow_m3h * (1 + $baseline_flow), full_speed.flow_m3h_hi) as flow_hi,
        pump.baseline_flow_m3h is null as flow_from_curve,
        coalesce(pump.baseline_evidence, 'no evidence recorded') as evidence,
        pump.baseline_evidence is null and pump.baseline_power_w is not null as unproved,
        pump.baseline_start_min % 1440 as start_min,
        case pump.baseline_evidence
            when 'measured' then $measured
            when 'nameplate' then $nameplate
            when 'owner record' then $owner_record
            when 'stipulated' then $stipulated
        end as power_half_width
    from pump
    left join full_speed using (pump_id)
),
pump_days as (
    select
        daily.*,
        baseline.* exclude (pump_id),
        baseline.power_w * baseline.hours / 1000 as baseline_kwh,
        baseline.power_w / 1000 * daily.volume_m3_mid / baseline.flow_mid as equal_kwh,
        baseline.flow_from_curve and daily.volume_source <> 'metered' as errs_together
    from daily
    join baseline using (pump_id)
),
baseline_day as (
    select
        *,
        baseline_kwh * power_half_width as baseline_off,
        equal_kwh * power_half_width as equal_power_off,
        -- How far the equal-volume energy may fall below, or rise above, its mid value through volume and flow.
        case when errs_together
            then greatest(
                equal_kwh - power_w / 1000 * least(volume_m3_lo / nullif(flow_lo, 0), volume_m3_hi / flow_hi), 0
            )
            else equal_kwh * sqrt(pow(1 - volume_m3_lo / nullif(volume_m3_mid, 0), 2) + pow(1 - flow_mid / flow_hi, 2))
        end as equal_below,
        case when errs_together
            then greatest(
                power_w / 1000 * greatest(volume_m3_lo / nullif(flow_lo, 0), volume_m3_hi / flow_hi) - equal_kwh, 0
            )
            else equal_kwh * sqrt(
                pow(volume_m3_hi / nullif(volume_m3_mid, 0) - 1, 2) + pow(flow_mid / nullif(flow_lo, 0) - 1, 2)
            )
        end as equal_above
    from pump_days
    order by site_id, pump_id, day_local
)
select * from baseline_day
