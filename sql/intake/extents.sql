-- How far the readings of an export reach, by local ISO week and pump.
-- Grain: week and pump. Inputs: judged_row. Output: week (2026-W44), pump_id, rows, first_utc, last_utc.
with source as (
    select strftime(day_local, '%G-W%V') as week, pump_id, time_utc from judged_row where fate = 'readings'
),

extents as (
    select week, pump_id, count(*) as rows, min(time_utc) as first_utc, max(time_utc) as last_utc
    from source
    group by all
    order by week, pump_id
)

select * from extents
