-- How many readings each pump has: where the walk along them may be cut.
-- Grain: pump. Inputs: reading (columns of readings). Output: pump_id, readings.
with source as (
    select pump_id from reading
),

reading_count as (
    select pump_id, count(*) as readings from source group by pump_id order by pump_id
)

select * from reading_count
