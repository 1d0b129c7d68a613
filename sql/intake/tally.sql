-- The judged rows of an export counted once, for all that is asked of them afterwards.
-- Grain: fate, rule, local ISO week and pump. Inputs: judged_row.
-- Output: fate, rule, week (2026-W44), pump_id; rows; first_utc, last_utc; rows without speed, without power and energy
--   counter; largest speed [rev/min] and power [W].
with source as (
    select * from judged_row
),

of_day as (
    -- Days first: a day's week is written out once a day, not once a row.
    select
        fate,
        rule,
        day_local,
        pump_id,
        count(*) as rows,
        min(time_utc) as first_utc,
        max(time_utc) as last_utc,
        count(*) - count(speed_rpm) as speed_nulls,
        count(*) - count(coalesce(power_w, energy_total_kwh)) as energy_nulls,
        max(speed_rpm) as speed_most_rpm,
        max(power_w) as power_most_w
    from source
    group by all
),

tally as (
    select
        fate,
        rule,
        strftime(day_local, '%G-W%V') as week,
        pump_id,
        sum(rows)::bigint as rows,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc,
        sum(speed_nulls)::bigint as speed_nulls,
        sum(energy_nulls)::bigint as energy_nulls,
        max(speed_most_rpm) as speed_most_rpm,
        max(power_most_w) as power_most_w
    from of_day
    group by all
)

select * from tally
