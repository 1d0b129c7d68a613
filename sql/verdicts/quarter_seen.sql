-- Observed speeds, numbered as cells of an array (pumps, days, 100 quarters).
-- Grain: pump, local day, quarter with a logged speed. Inputs: pump_quarter; local_day.
-- Output: cell, value [rev/min].
with pump_number as (
    select pump_id, row_number() over (order by pump_id) - 1 as pump_no
    from (select distinct pump_id from pump_quarter)
),

day_number as (
    select day_local, row_number() over (order by day_local) - 1 as day_no, count(*) over () as days
    from (select distinct day_local from local_day)
),

quarter_seen as (
    select
        (pump_number.pump_no * day_number.days + day_number.day_no) * 100 + pump_quarter.quarter as cell,
        pump_quarter.speed_rpm as value
    from pump_quarter join pump_number using (pump_id) join day_number using (day_local)
    where pump_quarter.speed_rpm is not null
)

select * from quarter_seen
