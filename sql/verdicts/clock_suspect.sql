-- Counters that do not rise as time goes by in some hour: only these are walked along reading by reading.
-- Grain: pump, counter. Inputs: clock_hour; clock_rate. Parameters: $mismatch_min [min].
-- Output: pump_id, counter.
with counted as (
    select
        clock_hour.pump_id,
        clock_hour.counter,
        clock_hour.passed_min,
        clock_hour.level,
        clock_hour.rise / if(clock_hour.counter = 'run_total', 1 / 60, clock_rate.per_min) as counted_min
    from clock_hour
    left join clock_rate using (pump_id, counter, level)
),

clock_suspect as (
    select distinct pump_id, counter
    from counted
    where counted_min - passed_min > $mismatch_min or (level is not null and passed_min - counted_min > $mismatch_min)
)

select * from clock_suspect order by pump_id, counter
