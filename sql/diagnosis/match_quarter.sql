-- Quarter hours for the circular match: valid days of 24 h with a plan in force.
-- grain: one pump's quarter. inputs: daily, judged_day, profile, plan_slot. parameters: none.
-- columns: pump_id, day_local, in_week, quarter (0..95), speed_rpm (null not observed), planned_speed_rpm (0 off).
with fit_day as (
    select d.pump_id, d.day_local, j.in_week
    from daily as d
    join judged_day as j using (day_local)
    where d.valid and d.day_min = 1440
),
match_quarter as (
    select f.pump_id, f.day_local, f.in_week, s.quarter, p.speed_rpm, s.planned_speed_rpm::double as planned_speed_rpm
    from fit_day as f
    join plan_slot as s using (pump_id, day_local)
    left join profile as p on p.pump_id = f.pump_id and p.day_local = f.day_local and p.quarter = s.quarter
    where s.quarter < 96
    order by f.pump_id, f.day_local, s.quarter
)
select * from match_quarter
