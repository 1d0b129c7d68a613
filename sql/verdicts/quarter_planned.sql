-- Planned speeds, numbered as cells of an array (pumps, days, 100 quarters).
-- Grain: pump, local day, quarter with a plan in force, of pumps that have quarter hours. Inputs: pump_quarter;
--   plan_slot; quarter_cell.
-- Output: cell, value [rev/min].
with quarter_planned as (
    select
        quarter_cell.first_cell + plan_slot.quarter as cell,
        plan_slot.planned_speed_rpm as value
    from plan_slot join quarter_cell using (pump_id, day_local)
)

select * from quarter_planned
