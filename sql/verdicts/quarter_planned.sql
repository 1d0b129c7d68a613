-- Planned speeds, numbered as cells of an array (pumps, days, 100 quarters).
-- Grain: pump, local day, quarter with a plan in force, of pumps that have quarter hours. Inputs: pump_quarter;
--   plan_slot; local_day.
-- Output: cell, value [rev/min].
with pump_number as (
    select pump_id, row_number() over (order by pump_id) - 1 as pump_no
    from (select distinct pump_id from pump_quarter)
),

day_number as (
    select day_local, row_number() over (order by day_local) - 1 as day_no, count(*) over () as days
    from (select distinct day_local from local_day)
),

quarter_planned as (
    select
        (pump_number.pump_no * day_number.days + day_number.day_no) * 100 + plan_slot.quarter as cell,
        plan_slot.planned_speed_rpm as value
    from plan_slot join pump_number using (pump_id) join day_number using (day_local)
)

select * from quarter_planned
