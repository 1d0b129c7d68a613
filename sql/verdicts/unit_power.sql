-- B4: what each running pump is said to draw, and what it can draw.
-- Grain: pump, local day. Inputs: speed_level; visit (pump_id, speed_rpm, power_w).
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $least_running_w, no running pump draws less
--   [W]; $readings, fewest readings of a day; $dead_ratio, a meter that reads less than so many times its own reading at
--   rest measures nothing; $alone_ratio, without logged speed a pump ran on a day whose greatest power is so many times
--   the least; $visit_ratio, how far power may lie from a visit's.
-- Output: the columns of a unit measure: pump_id, day_local, quantity, measured, unit; fits_lo, fits_hi, inside them the
--   unit is not doubted; wide_lo, wide_hi, what any pump can have; tight_lo, tight_hi, what this one is known for, or
--   null; basis, in words.
-- Power at another speed is taken by the cube law, which is wide of the mark far from the visit's speed: hence the ratio.
with source as (
    select
        pump_id,
        day_local,
        level_rpm,
        speed_rpm,
        power_n,
        abs(power_w) as power_w,
        greatest(abs(power_w_lo), abs(power_w_hi)) as greatest_w,
        least(abs(power_w_lo), abs(power_w_hi)) as least_w
    from speed_level
    where power_n > 0
),

known as (
    select pump_id, speed_rpm, power_w from visit where speed_rpm > 0 and power_w > 0
),

expected as (
    select
        source.pump_id,
        source.day_local,
        source.level_rpm,
        arg_min(
            known.power_w * (source.speed_rpm / known.speed_rpm) ^ 3,
            (abs(ln(source.speed_rpm / known.speed_rpm)), known.speed_rpm, known.power_w)
        ) as power_w
    from source join known using (pump_id)
    where source.level_rpm >= $running_rpm
    group by all
),

running as (
    select
        source.pump_id,
        source.day_local,
        sum(source.power_n) as readings,
        sum(source.power_w * source.power_n order by level_rpm) / sum(source.power_n) as measured,
        sum(expected.power_w * source.power_n order by level_rpm) / sum(source.power_n) as expected_w
    from source left join expected using (pump_id, day_local, level_rpm)
    where source.level_rpm >= $running_rpm
    group by source.pump_id, source.day_local
),

at_rest as (
    select pump_id, day_local, power_w as day_rest_w from source where level_rpm = 0
),

least_rest as (
    select pump_id, min(day_rest_w) as least_rest_w from at_rest group by pump_id
),

without_speed as (
    select pump_id, day_local, greatest_w as measured
    from source
    where level_rpm is null
        and power_n >= $readings
        and greatest_w > $alone_ratio * least_w
        and pump_id not in (select pump_id from source where level_rpm is not null)
),

judged as (
    select pump_id, day_local, measured, expected_w, 'W while running' as unit
    from running
    left join at_rest using (pump_id, day_local)
    left join least_rest using (pump_id)
    where readings >= $readings
        and measured > 0
        and not coalesce(measured < $least_running_w and measured < $dead_ratio * coalesce(day_rest_w, least_rest_w), false)
    union all
    select pump_id, day_local, measured, null, 'W at most' from without_speed
),

unit_power as (
    select
        pump_id,
        day_local,
        'power' as quantity,
        measured,
        unit,
        $least_running_w::double as fits_lo,
        if(expected_w is null, 1e6, greatest(5 * expected_w, 5 * $least_running_w)) as fits_hi,
        4.0 * $least_running_w as wide_lo,
        25000.0 as wide_hi,
        expected_w / $visit_ratio as tight_lo,
        expected_w * $visit_ratio as tight_hi,
        coalesce(format('visits lead one to expect about {:.0f} W', expected_w), '') as basis
    from judged
)

select * from unit_power
