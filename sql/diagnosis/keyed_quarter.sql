-- What ran in each quarter hour of the days on which the plan in force can be held against it; days of 24 h alone, so
--   that quarter and clock agree.
-- grain: one pump's quarter. inputs: keyed_day, profile. parameters: none.
-- columns: pump_id, day_local, quarter (0..95), speed_rpm [rev/min] (null not observed).
with keyed_quarter as (
    select d.pump_id, d.day_local, p.quarter, p.speed_rpm
    from keyed_day as d
    join profile as p using (pump_id, day_local)
    where d.day_min = 1440 and p.quarter < 96
)
select * from keyed_quarter order by pump_id, day_local, quarter
