-- B4: metered flow against what visits or the design lead one to expect at the same speed.
-- Grain: pump, local day. Inputs: speed_level; visit (pump_id, speed_rpm, flow_m3h); pump.
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $readings, fewest readings of a day;
--   $flow_lo, $flow_hi, share of the expected flow that a loaded or a clean filter gives.
-- Output: the columns of a unit measure, as in unit_power.sql. `measured` is a share of the expected flow, which goes
--   with speed (affinity law).
with source as (
    select pump_id, day_local, level_rpm, speed_rpm, flow_n, flow_m3h
    from speed_level
    where flow_n > 0 and level_rpm >= $running_rpm
),

known as (
    select pump_id, speed_rpm, flow_m3h from visit where speed_rpm > 0 and flow_m3h > 0
    union all
    select pump_id, full_speed_rpm, design_flow_m3h from pump where design_flow_m3h > 0
),

expected as (
    select
        source.*,
        arg_min(
            known.flow_m3h * source.speed_rpm / known.speed_rpm,
            (abs(ln(source.speed_rpm / known.speed_rpm)), known.speed_rpm, known.flow_m3h)
        ) as expected_m3h
    from source join known using (pump_id)
    group by all
),

moved as (
    select
        pump_id,
        day_local,
        sum(flow_n) as readings,
        sum(flow_m3h * flow_n order by level_rpm) as flow,
        sum(expected_m3h * flow_n order by level_rpm) as expected
    from expected
    group by pump_id, day_local
),

unit_flow as (
    select
        pump_id,
        day_local,
        'flow' as quantity,
        flow / expected as measured,
        'times the expected flow' as unit,
        0.5 as fits_lo,
        2.0 as fits_hi,
        $flow_lo::double as wide_lo,
        $flow_hi::double as wide_hi,
        null::double as tight_lo,
        null::double as tight_hi,
        format('{:.6g} m3/h measured on average, {:.6g} expected', flow / readings, expected / readings) as basis
    from moved
    where readings >= $readings and flow > 0
)

select * from unit_flow
