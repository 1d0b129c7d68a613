-- What ran in each quarter hour of all valid days of 24 h that are judged, whatever the plan was. Days on which frost or
--   a load ruled the pump for a while show no plan and are left out.
-- grain: one pump's quarter. inputs: daily, judged_day, profile, span. parameters: $ruled_min [min].
-- columns: pump_id, day_local, quarter (0..95), speed_rpm [rev/min] (null not observed).
with ruled as (
    select pump_id, day_local
    from span
    where cause in ('freeze protection', 'auxiliary load')
    group by pump_id, day_local
    having sum(duration_min order by start_utc) > $ruled_min
),
full_quarter as (
    select d.pump_id, d.day_local, p.quarter, p.speed_rpm
    from daily as d
    join judged_day using (day_local)
    join profile as p using (pump_id, day_local)
    anti join ruled as r on r.pump_id = d.pump_id and r.day_local = d.day_local
    where d.valid and d.day_min = 1440 and p.quarter < 96
)
select * from full_quarter order by pump_id, day_local, quarter
