-- The periods of the plan in force, in UTC, cut at local midnight.
-- Grain: pump, local day, stretch of a period. Inputs: plan_part.
-- Output: pump_id, day_local, period, speed_rpm [rev/min], start_utc, end_utc.
with source as (
    select * from plan_part
),

plan_window as (
    select pump_id, day_local, period, speed_rpm, start_utc, end_utc from source where period is not null order by pump_id, start_utc
)

select * from plan_window
