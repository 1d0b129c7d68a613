-- B16: pumps whose sample interval changed from one day to the next.
-- Grain: pump. Inputs: reading_step.
-- Parameters: $steps, fewest steps of a day; $share, of a day's steps that are about as long as the commonest one;
--   $ratio, smallest change of the interval.
-- Output: pump_id; from_s, to_s [s], the last change; changes; first_day (of the first change), last_day (of the last).
-- Logs of changes have no interval and are left out. A day with no clear interval says nothing.
with source as (
    select pump_id, day_local, step_s, sampled_n as steps from reading_step where sampled_n > 0 and step_s > 0
),

commonest as (
    select pump_id, day_local, arg_max(step_s, (steps, -step_s)) as interval_s, sum(steps) as steps
    from source
    group by pump_id, day_local
),

clear as (
    select commonest.pump_id, commonest.day_local, commonest.interval_s
    from commonest join source using (pump_id, day_local)
    where source.step_s between 0.9 * commonest.interval_s and 1.1 * commonest.interval_s
    group by commonest.pump_id, commonest.day_local, commonest.interval_s, commonest.steps
    having sum(source.steps) >= $share * commonest.steps and commonest.steps >= $steps
),

followed as (
    select *, lag(interval_s) over (partition by pump_id order by day_local) as before_s from clear
),

interval_change as (
    select
        pump_id,
        arg_max(before_s, day_local) as from_s,
        arg_max(interval_s, day_local) as to_s,
        count(*) as changes,
        min(day_local) as first_day,
        max(day_local) as last_day
    from followed
    where greatest(interval_s, before_s) >= $ratio * least(interval_s, before_s)
    group by pump_id
    order by pump_id
)

select * from interval_change
