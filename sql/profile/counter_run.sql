-- What the energy counter of a log says by itself: how far it rose while it went on without a break.
-- Grain: one unbroken run of one log's counter within one local day. Inputs: ordered (a table written in the order of
--   pump_id and time_utc; pump_id may hold the log behind chr(31)); local_day (zone, day_local).
-- Parameters: $longest_step_s, two readings of a counter this far apart still hang together [s].
-- Output: pump_id, day_local, start_utc, end_utc, counter_kwh (rise) [kWh], last_digit_kwh (resolution of the counter,
--   the finest that its values show) [kWh].
-- A fall breaks a run, and so does local midnight: a step across it belongs to the day in which it begins.
-- Windows without a partition walk along the table as it was written, as in steady.sql.
with source as (
    select pump_id as log_id, time_utc, day_local, energy_total_kwh::double as value_kwh, gap_limit_s
    from ordered
    where energy_total_kwh is not null
),

neighboured as (
    select
        *,
        lag(log_id) over () as previous_log,
        lag(day_local) over () as previous_day,
        lag(time_utc) over () as previous_utc,
        lag(value_kwh) over () as previous_kwh
    from source
),

marked as (
    select
        log_id, time_utc, day_local, value_kwh,
        log_id is distinct from previous_log
            or value_kwh < previous_kwh
            or time_utc > previous_utc + to_seconds(greatest(gap_limit_s, $longest_step_s)) as breaks,
        breaks or day_local <> previous_day as begins
    from neighboured
),

numbered as (
    select *, sum(begins::integer) over (rows between unbounded preceding and current row) as run
    from marked
),

summed as (
    select
        log_id, run,
        any_value(day_local) as day_local,
        bool_or(breaks) as is_new,
        min(time_utc) as start_utc,
        max(time_utc) as last_utc,
        min(value_kwh) as first_kwh,
        max(value_kwh) as last_kwh,
        bool_and(abs(value_kwh - round(value_kwh)) < 1e-6) as in_ones,
        bool_and(abs(value_kwh * 10 - round(value_kwh * 10)) < 1e-5) as in_tenths,
        bool_and(abs(value_kwh * 100 - round(value_kwh * 100)) < 1e-4) as in_hundredths
    from numbered
    group by log_id, run
),

carried as (
    select
        *,
        lead(is_new) over runs as next_is_new,
        lead(start_utc) over runs as next_utc,
        lead(first_kwh) over runs as next_kwh,
        case
            when bool_and(in_ones) over of_log then 1.0
            when bool_and(in_tenths) over of_log then 0.1
            when bool_and(in_hundredths) over of_log then 0.01
            else 0.001
        end::double as last_digit_kwh
    from summed
    window runs as (partition by log_id order by run), of_log as (partition by log_id)
),

counter_run as (
    select
        split_part(log_id, chr(31), 1) as pump_id,
        day_local,
        start_utc,
        if(next_is_new = false, next_utc, last_utc) as end_utc,
        if(next_is_new = false, next_kwh, last_kwh) - first_kwh as counter_kwh,
        last_digit_kwh
    from carried
    where day_local in (select day_local from local_day) and (next_is_new = false or last_utc > start_utc)
)

select * from counter_run order by pump_id, start_utc, end_utc
