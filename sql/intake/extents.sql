-- How far the readings of an export reach, by local ISO week and pump.
-- Grain: week and pump. Inputs: tally. Output: week (2026-W44), pump_id, rows, first_utc, last_utc.
with source as (
    select * from tally where fate = 'readings' and week is not null
),

extents as (
    select week, pump_id, rows, first_utc, last_utc from source order by week, pump_id
)

select * from extents
