-- Steps from reading to reading in which a counter rose by more, or by less, than the time between the stamps allows.
-- Grain: pump, counter, such a step. Inputs: counter_step; counter_grain; clock_rate; plan_slot; pump; site (zone);
--   pump_source (pump_id, source); quarter (zone, day_local, quarter, start_utc, end_utc); local_day.
-- Parameters: $mismatch_min [min] and $mismatch_share (of the time between), both of which a jump passes;
--   $same_speed_rpm, the pump runs at one speed; $hole_steps, a longer step than so many usual ones is a hole.
-- Output: source, pump_id, counter, from_utc, to_utc, day_local, passed_min (by the stamps), counted_min (by the
--   counter), jump_min (passed less counted; below nothing the clock was set back).
-- More counted than passed cannot be, unless the counter comes back from a fall in the log. Less counted than passed
--   is a jump only over a hole through which the plan asks for running, at one speed, with about one usual step
--   counted: else the pump just stood.
with source as (
    select
        *,
        (epoch_ms(to_utc) - epoch_ms(from_utc)) / 60_000 as passed_min,
        median(epoch_ms(to_utc) - epoch_ms(from_utc)) over (partition by pump_id, counter) / 60_000 as usual_min,
        bool_or(backward) over (partition by pump_id, counter) as disordered,
        max(from_value) over (
            partition by pump_id, counter order by to_utc rows between unbounded preceding and 1 preceding
        ) as highest,
        if(
            from_rpm > 0 and abs(to_rpm - from_rpm) <= $same_speed_rpm,
            round((from_rpm + to_rpm) / 50)::bigint,
            null
        ) as level
    from counter_step
),

counted as (
    select
        source.*,
        if(source.counter = 'run_total', 1 / 60, clock_rate.per_min) as per_min,
        counter_grain.resolution,
        (to_value - from_value) / if(source.counter = 'run_total', 1 / 60, clock_rate.per_min) as counted_min,
        not coalesce(disordered, false)
            and coalesce(highest > from_value + 1.5 * resolution and to_value >= highest, false) as returns
    from source
    join counter_grain using (pump_id, counter)
    left join clock_rate using (pump_id, counter, level)
),

apart as (
    select *, passed_min - counted_min as jump_min
    from counted
    where abs(passed_min - counted_min)
            > greatest($mismatch_min, $mismatch_share * passed_min) + 2 * resolution / per_min
        and to_value >= from_value
        and not returns
),

asked as (
    select apart.pump_id, apart.counter, apart.to_utc, min(plan_slot.planned_speed_rpm) as least_planned_rpm
    from apart
    join pump using (pump_id)
    join site using (site_id)
    join quarter
        on site.zone = quarter.zone and quarter.end_utc > apart.from_utc and quarter.start_utc < apart.to_utc
    join plan_slot
        on apart.pump_id = plan_slot.pump_id
        and quarter.day_local = plan_slot.day_local
        and quarter.quarter = plan_slot.quarter
    where apart.jump_min > 0
    group by all
),

clock_jump as (
    select
        pump_source.source,
        apart.pump_id,
        apart.counter,
        apart.from_utc,
        apart.to_utc,
        local_day.day_local,
        apart.passed_min,
        apart.counted_min,
        apart.jump_min
    from apart
    left join asked using (pump_id, counter, to_utc)
    join pump using (pump_id)
    join site using (site_id)
    join pump_source using (pump_id)
    join local_day
        on site.zone = local_day.zone and apart.to_utc >= local_day.start_utc and apart.to_utc < local_day.end_utc
    where apart.jump_min < 0
        or (
            apart.level is not null
            and asked.least_planned_rpm > 0
            and apart.passed_min > $hole_steps * apart.usual_min
            and apart.counted_min between 0.5 * apart.usual_min and 2 * apart.usual_min
        )
)

select * from clock_jump order by pump_id, counter, from_utc
