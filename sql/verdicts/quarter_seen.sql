-- Observed speeds, numbered as cells of an array (pumps, days, 100 quarters).
-- Grain: pump, local day, quarter with a logged speed. Inputs: pump_quarter; quarter_cell.
-- Output: cell, value [rev/min].
with quarter_seen as (
    select
        quarter_cell.first_cell + pump_quarter.quarter as cell,
        pump_quarter.speed_rpm as value
    from pump_quarter join quarter_cell using (pump_id, day_local)
    where pump_quarter.speed_rpm is not null
)

select * from quarter_seen
