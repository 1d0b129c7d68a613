-- B12: what was frozen, a pump.
-- Grain: pump. Inputs: frozen_value.
-- Output: pump_id, readings (left out), runs, longest (readings of the longest run, its first included), longest_utc
--   (its first reading), power_w (its value) [W], first_day, last_day.
with source as (
    select * from frozen_value
),

frozen_runs as (
    select
        pump_id,
        count(*) as readings,
        count(distinct start_utc) as runs,
        max(samples) as longest,
        arg_max(start_utc, (samples, -epoch_us(start_utc))) as longest_utc,
        arg_max(power_w, (samples, -epoch_us(start_utc))) as power_w,
        min(day_local) as first_day,
        max(day_local) as last_day
    from source
    group by pump_id
    order by pump_id
)

select * from frozen_runs
