-- What ran in each quarter hour of all valid days of 24 h that are judged, whatever the plan was.
-- grain: one pump's quarter. inputs: daily, judged_day, profile. parameters: none.
-- columns: pump_id, day_local, quarter (0..95), speed_rpm [rev/min] (null not observed).
with full_quarter as (
    select d.pump_id, d.day_local, p.quarter, p.speed_rpm
    from daily as d
    join judged_day using (day_local)
    join profile as p using (pump_id, day_local)
    where d.valid and d.day_min = 1440 and p.quarter < 96
)
select * from full_quarter order by pump_id, day_local, quarter
