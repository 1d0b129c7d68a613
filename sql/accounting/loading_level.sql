-- Wire power of a pump at each speed that it held on a day: what filter loading is read from.
-- Grain: one pump, local day and speed of the 25 rpm grid. Columns of account_tables.LEVELS.
-- Inputs: span (tables.SPANS). Parameters: $least_level_min, least time at the speed on that day [min]; $start_min, a span
--   that is over so soon after a standstill is left out [min].
-- Time-weighted median of the power of its spans, so that some minutes with air in the pump, after a start or in between,
-- move nothing: spans end where power changes. Left out: priming and what soon follows it (air in the pump), and time with
-- an auxiliary load (it may hang on the same meter, and its valve moves the flow).
with since_still as (
    select *, max(end_utc) filter (kind = 'off') over (partition by pump_id order by start_utc) as still_until_utc
    from span
),
running as (
    select pump_id, day_local, cast(round(speed_rpm / 25) * 25 as bigint) as speed_rpm, power_w, duration_min, start_utc
    from since_still
    where kind = 'run' and cause <> 'priming' and power_w > 0 and speed_rpm > 0 and not coalesce(aux_on, false)
        and not coalesce(end_utc <= still_until_utc + to_seconds($start_min * 60), false)
),
ranked as (
    select
        pump_id, day_local, speed_rpm, power_w,
        sum(duration_min) over (partition by pump_id, day_local, speed_rpm order by power_w, start_utc) as upto_min,
        sum(duration_min) over (
            partition by pump_id, day_local, speed_rpm order by power_w, start_utc
            rows between unbounded preceding and unbounded following
        ) as run_min
    from running
),
levels as (
    select pump_id, day_local, speed_rpm, min(power_w) as power_w, any_value(run_min) as run_min
    from ranked
    where upto_min >= run_min / 2 and run_min >= $least_level_min
    group by pump_id, day_local, speed_rpm
    order by pump_id, day_local, speed_rpm
)
select * from levels
