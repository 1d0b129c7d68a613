-- Wire power of a pump at each speed that it held on a day: what filter loading is read from.
-- Grain: one pump, local day and speed of the 25 rpm grid. Columns of account_tables.LEVELS.
-- Inputs: span (tables.SPANS). Parameters: $least_level_min, least time at the speed on that day [min].
-- Time-weighted mean of the logged power, so that it is the same however the time is cut into spans. Left out: priming
-- (air in the pump) and time with an auxiliary load (it may hang on the same meter, and its valve moves the flow).
with running as (
    select pump_id, day_local, cast(round(speed_rpm / 25) * 25 as bigint) as speed_rpm, power_w, duration_min, start_utc
    from span
    where kind = 'run' and cause <> 'priming' and power_w > 0 and speed_rpm > 0 and not coalesce(aux_on, false)
),
summed as (
    select
        pump_id, day_local, speed_rpm,
        sum(power_w * duration_min order by start_utc) / sum(duration_min order by start_utc) as power_w,
        sum(duration_min order by start_utc) as run_min
    from running
    group by pump_id, day_local, speed_rpm
),
levels as (
    select * from summed where run_min >= $least_level_min order by pump_id, day_local, speed_rpm
)
select * from levels
