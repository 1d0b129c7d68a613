-- D15, too few hours at a speed at which the chlorinator may work.
-- grain: one pump with a chlorinator. inputs: pump, span, daily, judged_day, idle_day, pump_fact.
-- parameters: $days (of the last 7 valid days), $speed_margin_rpm (so far below its speed is at it) [rev/min], $short_share (of the hours needed), $cool_c (mean air temperature of the
--   judged days; below it less chlorine is needed) [deg C]. columns: those of EVIDENCE that it fills.
-- Water temperature is not logged; the air of the station stands for it, and unknown air leaves the question open to be
--   asked. Days on which the pump did not run at all belong to that finding.
with chlorinated as (
    select f.site_id, f.pump_id, f.aux_min_speed_rpm, p.aux_hours_per_day
    from pump_fact as f
    join pump as p using (pump_id)
    where f.aux_load = 'chlorinator' and f.season = 'open'
),
valid_day as (
    select d.pump_id, d.day_local, row_number() over (partition by d.pump_id order by d.day_local desc) as age
    from daily as d
    join judged_day as j on j.day_local = d.day_local
    where d.valid
),
by_day as (
    select c.site_id, c.pump_id, v.day_local, c.aux_hours_per_day,
        coalesce(sum(s.duration_min order by s.start_utc) filter (s.kind = 'run' and s.speed_rpm >= c.aux_min_speed_rpm - $speed_margin_rpm), 0) / 60
            as able_h,
        avg(s.air_temperature_c order by s.start_utc) as air_c
    from chlorinated as c
    join valid_day as v on v.pump_id = c.pump_id and v.age <= 7
    join span as s on s.pump_id = v.pump_id and s.day_local = v.day_local
    anti join idle_day as i on i.pump_id = v.pump_id and i.day_local = v.day_local
    where c.aux_hours_per_day is not null and c.aux_min_speed_rpm is not null
    group by c.site_id, c.pump_id, v.day_local, c.aux_hours_per_day
),
counted as (
    select b.site_id, b.pump_id, b.aux_hours_per_day, avg(b.air_c order by b.day_local) as air_c,
        count(*) filter (b.able_h < (1 - $short_share) * b.aux_hours_per_day) as days,
        min(b.day_local) filter (b.able_h < (1 - $short_share) * b.aux_hours_per_day) as first_day,
        max(b.day_local) filter (b.able_h < (1 - $short_share) * b.aux_hours_per_day) as last_day,
        median(b.able_h) filter (b.able_h < (1 - $short_share) * b.aux_hours_per_day) as able_h
    from by_day as b
    group by b.site_id, b.pump_id, b.aux_hours_per_day
),
found as (
    select c.site_id, c.pump_id as component, 'found' as verdict, null as needs, c.first_day, c.last_day, c.days,
        c.able_h as measured, c.aux_hours_per_day as threshold, 'h a day' as unit
    from counted as c
    join judged_day as j on j.day_local = c.last_day and j.in_week
    where c.days >= $days and coalesce(c.air_c >= $cool_c, true)
),
silent as (
    select site_id, pump_id as component, 'cannot tell' as verdict,
        case when aux_hours_per_day is null then 'the hours a day that the chlorinator needs (aux_hours_per_day in pumps.csv)'
            else 'the minimum speed of the chlorinator in pumps.csv' end as needs,
        null::date as first_day, null::date as last_day, null::bigint as days, null::double as measured,
        aux_hours_per_day as threshold, 'h a day' as unit
    from chlorinated
    where aux_hours_per_day is null or aux_min_speed_rpm is null
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
