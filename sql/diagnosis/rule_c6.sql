-- C6, full speed all day.
-- grain: one pump. inputs: span, daily, judged_day, pump_fact, excused_day.
-- parameters: $speed_rpm [rev/min], $hours [h a day], $days (of the last 5 valid days). columns: those of EVIDENCE that
--   it fills.
-- A pump whose full speed is below $speed_rpm / 0.9 counts as fast from nine tenths of its own full speed.
with valid_day as (
    select d.site_id, d.pump_id, d.day_local, least($speed_rpm, 0.9 * f.full_speed_rpm) as fast_rpm,
        row_number() over (partition by d.pump_id order by d.day_local desc) as age
    from daily as d
    join judged_day as j on j.day_local = d.day_local and j.in_week
    join pump_fact as f on f.pump_id = d.pump_id
    where d.valid
),
fast as (
    select v.site_id, v.pump_id, v.day_local, sum(s.duration_min order by s.start_utc) / 60 as fast_h
    from valid_day as v
    join span as s on s.pump_id = v.pump_id and s.day_local = v.day_local
    anti join excused_day as x on x.pump_id = v.pump_id and x.day_local = v.day_local
    where v.age <= 5 and s.kind = 'run' and s.speed_rpm >= v.fast_rpm
    group by v.site_id, v.pump_id, v.day_local
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict, min(day_local) as first_day, max(day_local) as last_day,
        count(*) as days,
        median(fast_h) as measured, $hours::double as threshold, 'h a day' as unit
    from fast
    where fast_h >= $hours
    group by site_id, pump_id
    having count(*) >= $days
)
select * from evidence order by site_id, component
