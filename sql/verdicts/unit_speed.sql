-- B4: the greatest speed of each pump's day, and what it can be.
-- Grain: pump, local day. Inputs: speed_level; plan_slot (pump_id, day_local, planned_speed_rpm); pump.
-- Parameters: $most_percent_rpm, a pump whose greatest speed is no more does not log rev/min; $slowest_rpm, lowest
--   speed that is keyed in [rev/min]; $plan_ratio, how far the greatest speed may lie from the plan's.
-- Output: the columns of a unit measure, as in unit_power.sql.
-- Two values on either side of a limit differ by more than the jitter about standstill (50 rev/min): a pump that stood
--   all day says nothing.
with source as (
    select pump_id, day_local, max(speed_rpm_hi) as measured
    from speed_level
    where level_rpm is not null
    group by pump_id, day_local
),

planned as (
    select pump_id, day_local, max(planned_speed_rpm) as planned_rpm from plan_slot group by pump_id, day_local
),

expected as (
    select
        source.*,
        pump.full_speed_rpm,
        greatest(
            planned.planned_rpm,
            if(planned.planned_rpm > 0 and pump.priming_min > 0, pump.priming_speed_rpm, null)
        ) as expected_rpm
    from source
    join pump using (pump_id)
    left join planned using (pump_id, day_local)
    where source.measured > 0
),

unit_speed as (
    select
        pump_id,
        day_local,
        'speed' as quantity,
        measured,
        'at most' as unit,
        $most_percent_rpm::double as fits_lo,
        1e6 as fits_hi,
        $slowest_rpm::double as wide_lo,
        full_speed_rpm * 1.02 as wide_hi,
        if(expected_rpm > 0, expected_rpm / $plan_ratio, null) as tight_lo,
        if(expected_rpm > 0, expected_rpm * $plan_ratio, null) as tight_hi,
        if(expected_rpm > 0, format('the plan goes up to {:.0f} rpm', expected_rpm), '') as basis
    from expected
)

select * from unit_speed
