-- Quarter hours for the circular match: those of observed_quarter on days with a plan in force.
-- grain: one pump's quarter. inputs: observed_quarter, profile, plan_slot. parameters: none.
-- columns: pump_id, day_local, in_week, quarter (0..95), speed_rpm (null not observed, or set by something else), ran_rpm
--   (whatever set it, null not observed), planned_speed_rpm (0 off).
with match_quarter as (
    select o.pump_id, o.day_local, o.in_week, o.quarter, o.speed_rpm,
        p.speed_rpm as ran_rpm, s.planned_speed_rpm::double as planned_speed_rpm
    from observed_quarter as o
    join profile as p using (pump_id, day_local, quarter)
    join plan_slot as s using (pump_id, day_local, quarter)
    order by o.pump_id, o.day_local, o.quarter
)
select * from match_quarter
