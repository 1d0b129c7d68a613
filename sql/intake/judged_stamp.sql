-- The readings of an export as stamps in file order, for clock_order.sql.
-- Grain: reading. Inputs: judged_row. Output: pump_id; stamp, its UTC; line.
with source as (
    select pump_id, time_utc as stamp, line from judged_row where fate = 'readings' order by line
)

select * from source
