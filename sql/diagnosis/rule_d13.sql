-- D13, auxiliary load that stays off in the hours it used to be on in, at a speed that is enough for it.
-- grain: one pump with an auxiliary load. inputs: aux_window, profile, daily, judged_day, pump_fact, span.
-- parameters: $windows (the latest valid days, each one window), $minutes (of a window at enough speed) [min], $cool_c
--   (middle air temperature below which a chlorinator may rest) [deg C]. columns: those of EVIDENCE that it fills.
-- A heater whose water is warm enough stays off by itself; no log of a call for heat is read, so of a heater it cannot
--   be told.
with valid_day as (
    select d.pump_id, d.day_local, j.in_week, row_number() over (partition by d.pump_id order by d.day_local desc) as age
    from daily as d
    join judged_day as j using (day_local)
    where d.valid
),
air as (
    select pump_id, day_local, avg(air_temperature_c order by start_utc) as air_c
    from span
    where air_temperature_c is not null
    group by pump_id, day_local
),
by_day as (
    select p.site_id, p.pump_id, p.day_local, any_value(v.in_week) as in_week, sum(p.aux_min order by p.quarter) as aux_min,
        coalesce(sum(p.run_min order by p.quarter) filter (w.clock_local is not null and p.speed_rpm >= f.aux_min_speed_rpm), 0)
            as able_min
    from valid_day as v
    join profile as p on p.pump_id = v.pump_id and p.day_local = v.day_local
    join pump_fact as f on f.pump_id = v.pump_id and f.aux_min_speed_rpm is not null
    left join aux_window as w on w.pump_id = p.pump_id and w.clock_local = p.clock_local
    where v.age <= $windows and p.aux_min is not null
    group by p.site_id, p.pump_id, p.day_local
),
missed as (
    select b.site_id, b.pump_id, count(*) as days, min(b.day_local) as first_day, max(b.day_local) as last_day,
        sum(b.able_min order by b.day_local) as able_min, median(a.air_c) as air_c
    from by_day as b
    left join air as a using (pump_id, day_local)
    where b.aux_min = 0 and b.able_min >= $minutes
    group by b.site_id, b.pump_id
    having count(*) >= $windows and bool_or(b.in_week)
),
evidence as (
    select m.site_id, m.pump_id as component, case f.aux_load when 'heater' then 'cannot tell' else 'found' end
            as verdict,
        case when f.aux_load = 'heater'
            then format('the heater''s own call for heat: it stayed off for {} days in hours it used to be on in', m.days)
        end as needs,
        m.first_day, m.last_day, m.days, m.able_min / 60 as measured, $minutes / 60.0 as threshold, 'h' as unit,
        f.aux_load as extra
    from missed as m
    join pump_fact as f using (pump_id)
    where not coalesce(f.aux_load = 'chlorinator' and m.air_c < $cool_c, false)
)
select * from evidence order by site_id, component
