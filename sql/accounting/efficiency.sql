-- Volume per energy and wire-to-water efficiency of a pump at each speed it held, behind a plausibility gate.
-- Grain: one pump at one speed; columns of tables.EFFICIENCY.
-- Inputs: speed_run (speed_run.sql); water_power (pump_id, speed_rpm, head_m [m], water_w_lo, _mid, _hi [W],
--   off_curve): the head and the power given to the water on the pump's own curve, null where there is none.
-- Parameters: $suspect_share wire-to-water efficiency above which a value is suspect (facts 4.4: about 0.70);
--   $physical_share the most that physics allows: 1, for no more power reaches the water than the wire brings.
-- Columns with units: tables.EFFICIENCY.
-- Energy factor [m3/kWh] = flow [m3/h] / power [kW]. Flow and power err apart from each other, so their shares add in
-- quadrature (first order). A value that physics does not allow is withheld, and so is the energy factor behind it.
with shares as (
    select
        speed_run.*,
        water_power.head_m, water_power.water_w_mid, water_power.water_w_hi, water_power.off_curve,
        1000 * speed_run.flow_m3h_mid / nullif(speed_run.power_w_mid, 0) as factor,
        water_power.water_w_mid / nullif(speed_run.power_w_mid, 0) as share,
        1 - flow_m3h_lo / nullif(flow_m3h_mid, 0) as flow_below,
        flow_m3h_hi / nullif(flow_m3h_mid, 0) - 1 as flow_above,
        1 - water_w_lo / nullif(water_w_mid, 0) as water_below,
        water_w_hi / nullif(water_w_mid, 0) - 1 as water_above,
        -- More power than the middle makes the quotient fall, less makes it rise.
        1 - power_w_mid / nullif(power_w_hi, 0) as power_below,
        power_w_mid / nullif(power_w_lo, 0) - 1 as power_above
    from speed_run
    left join water_power using (pump_id, speed_rpm)
),
gated as (
    select
        *,
        case
            when share > $physical_share then 'refused'
            when share > $suspect_share then 'suspect'
            when share is not null then 'plausible'
            else 'cannot tell'
        end as gate
    from shares
),
efficiency as (
    select
        site_id, pump_id, speed_rpm, run_min, longest_min,
        flow_m3h_lo, flow_m3h_mid, flow_m3h_hi, flow_source,
        power_w_lo, power_w_mid, power_w_hi, power_source,
        head_m,
        case when gate <> 'refused' and factor is not null then greatest(
            factor * (1 - sqrt(pow(coalesce(flow_below, 0), 2) + pow(power_below, 2))), 0
        ) end as energy_factor_m3kwh_lo,
        case when gate <> 'refused' then factor end as energy_factor_m3kwh_mid,
        case when gate <> 'refused'
            -- No flow by the middle: the high end is what the most flow and the least power give.
            then if(
                flow_m3h_mid = 0,
                1000 * flow_m3h_hi / nullif(power_w_lo, 0),
                factor * (1 + sqrt(pow(flow_above, 2) + pow(power_above, 2)))
            )
        end as energy_factor_m3kwh_hi,
        case when gate <> 'refused' and share is not null then greatest(
            share * (1 - sqrt(pow(coalesce(water_below, 0), 2) + pow(power_below, 2))), 0
        ) end as wire_to_water_lo,
        case when gate <> 'refused' then share end as wire_to_water_mid,
        case when gate <> 'refused'
            then if(
                water_w_mid = 0,
                water_w_hi / nullif(power_w_lo, 0),
                share * (1 + sqrt(pow(water_above, 2) + pow(power_above, 2)))
            )
        end as wire_to_water_hi,
        gate,
        case gate
            when 'refused' then printf(
                'At %d rpm %.0f %% of the electric power would reach the water, more than there is: check scale and '
                || 'unit of the power channel, the flow source and the pump curve. No energy factor is given.',
                speed_rpm, share * 100
            )
            when 'suspect' then printf(
                'At %d rpm %.0f %% of the electric power would reach the water; above %.0f %% is suspect in this '
                || 'trade: check the power channel, the flow reading and which curve the pump has.',
                speed_rpm, share * 100, $suspect_share * 100
            )
            when 'plausible' then ''
            else case
                when power_w_mid is null then 'wire power at this speed is not known'
                when flow_m3h_mid is null then 'no flow source'
                when off_curve then 'the flow lies beyond the last point of the pump curve at this speed: check the '
                    || 'flow reading, its unit and the curve'
                else 'no pump curve, so no head: whether the energy factor is plausible cannot be told'
            end
        end as sentence
    from gated
    order by pump_id, speed_rpm
)
select * from efficiency
