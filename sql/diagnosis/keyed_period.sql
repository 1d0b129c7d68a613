-- The plan in force on the newest day, with what follows each period round the clock.
-- grain: one period of one pump. inputs: plan, pump_fact, judged_day. parameters: none.
-- columns: site_id, pump_id, periods (of the plan), period, speed_rpm [rev/min], start_min, stop_min [min since 00:00 by
--   wall clock, stop 1..1440], length_min [min], next_period, next_speed_rpm [rev/min], next_start_min [min since
--   00:00], gap_min [min] (from this stop to the next start; of a single period, to its own).
with last_day as (
    select max(day_local) as last_day
    from judged_day
),
newest as (
    select p.*
    from plan as p
    join last_day as l on p.valid_from <= l.last_day
    qualify p.valid_from = max(p.valid_from) over (partition by p.pump_id)
),
timed as (
    select pump_id, period, speed_rpm, start_min % 1440 as start_min,
        case when stop_min = 0 then 1440 else stop_min end as stop_min
    from newest
),
followed as (
    select *, count(*) over (partition by pump_id) as periods,
        coalesce(lead(period) over by_clock, first_value(period) over by_clock) as next_period,
        coalesce(lead(speed_rpm) over by_clock, first_value(speed_rpm) over by_clock) as next_speed_rpm,
        coalesce(lead(start_min) over by_clock, first_value(start_min) over by_clock) as next_start_min
    from timed
    window by_clock as (partition by pump_id order by start_min, period)
),
keyed_period as (
    select f.site_id, p.pump_id, p.periods, p.period, p.speed_rpm, p.start_min, p.stop_min,
        (p.stop_min - p.start_min + 1439) % 1440 + 1 as length_min, p.next_period, p.next_speed_rpm, p.next_start_min,
        (p.next_start_min - p.stop_min + 1440) % 1440 as gap_min
    from followed as p
    join pump_fact as f using (pump_id)
)
select * from keyed_period order by pump_id, start_min
