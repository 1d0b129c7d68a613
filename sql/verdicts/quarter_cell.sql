-- The place of each pump and day in an array (pumps, days, 100 quarters), counted in quarters.
-- Grain: pump that has quarter hours, local day. Inputs: pump_quarter; local_day. Output: pump_id, day_local, first_cell.
with pump_number as (
    select pump_id, row_number() over (order by pump_id) - 1 as pump_no
    from (select distinct pump_id from pump_quarter)
),

day_number as (
    select day_local, row_number() over (order by day_local) - 1 as day_no, count(*) over () as days
    from (select distinct day_local from local_day)
),

quarter_cell as (
    select pump_id, day_local, (pump_no * days + day_no) * 100 as first_cell from pump_number cross join day_number
)

select * from quarter_cell
