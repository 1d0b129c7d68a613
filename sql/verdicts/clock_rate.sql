-- How fast each counter rises at each speed: the run counter by a minute a minute, the energy counter as it was seen
--   to.
-- Grain: pump, counter, speed in steps of 25 rev/min. Inputs: clock_hour. Parameters: $steady_hours, hours at one
--   speed from which a rate is learned.
-- Output: pump_id, counter, level, per_min [kWh/min or h/min].
with clock_rate as (
    select pump_id, counter, level, if(counter = 'run_total', 1 / 60, median(rise / passed_min)) as per_min
    from clock_hour
    where level is not null and lasting and rise > 0
    group by pump_id, counter, level
    having count(*) >= $steady_hours
)

select * from clock_rate order by pump_id, counter, level
