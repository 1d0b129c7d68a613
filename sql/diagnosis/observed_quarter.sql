-- Quarter hours that speak of the programme keyed in: valid days of 24 h that no visit explains, without the quarters
--   in which freeze protection or an auxiliary load set the speed.
-- grain: one pump's quarter. inputs: daily, judged_day, profile, span, pump, excused_day.
-- parameters: $near_rpm, this near to the load's lowest speed, and so far above the plan, the load set it [rev/min].
-- columns: pump_id, day_local, in_week, quarter (0..95), speed_rpm (null not observed, or set by something else).
with fit_day as (
    select d.pump_id, d.day_local, j.in_week
    from daily as d
    join judged_day as j using (day_local)
    anti join excused_day as x on x.pump_id = d.pump_id and x.day_local = d.day_local
    where d.valid and d.day_min = 1440
),
set_by_other as (
    select pump_id, day_local,
        unnest(range(floor(start_min / 15)::bigint, ceil((start_min + duration_min) / 15)::bigint)) as quarter
    from span
    join pump using (pump_id)
    where kind = 'run' and (cause in ('freeze protection', 'auxiliary load')
        or coalesce(aux_on and speed_rpm > planned_speed_rpm + $near_rpm
            and abs(speed_rpm - aux_min_speed_rpm) <= $near_rpm, false))
),
other_quarter as (
    select distinct pump_id, day_local, quarter
    from set_by_other
),
observed_quarter as (
    select f.pump_id, f.day_local, f.in_week, p.quarter, case when o.quarter is null then p.speed_rpm end as speed_rpm
    from fit_day as f
    join profile as p on p.pump_id = f.pump_id and p.day_local = f.day_local and p.quarter < 96
    left join other_quarter as o on o.pump_id = p.pump_id and o.day_local = p.day_local and o.quarter = p.quarter
    order by f.pump_id, f.day_local, p.quarter
)
select * from observed_quarter
