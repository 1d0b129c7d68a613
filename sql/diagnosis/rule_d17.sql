-- D17, no freeze protection seen on a freezing night. One-sided: where it is not sure it asks to check on site.
-- grain: one pump of an open site with freeze risk. inputs: pump_fact, judged_day, local_day, weather, span.
-- parameters: $air_c [deg C, station], $margin_c [deg C, pad against station], $still_min [min]. columns: those of
--   EVIDENCE that it fills.
-- An hourly reading stands for the hour that follows it. A federal rule sets shipping defaults only, it does not oblige
--   a site (facts 1.5).
with exposed as (
    select site_id, pump_id, zone, weather
    from pump_fact
    where freeze_risk and season = 'open'
),
week_hours as (
    select zone, min(start_utc) as start_utc, max(end_utc) as end_utc, sum(day_min) / 60 as hours
    from local_day
    join judged_day as j using (day_local)
    where j.in_week
    group by zone
),
stations as (
    select e.site_id, e.pump_id, w.hours, count(x.time_utc) as hours_read
    from exposed as e
    join week_hours as w using (zone)
    left join weather as x on x.weather = e.weather and x.time_utc >= w.start_utc and x.time_utc < w.end_utc
        and x.air_temperature_c is not null
    group by e.site_id, e.pump_id, w.hours
),
near_hours as (
    select e.site_id, e.pump_id, x.time_utc as start_utc, least(x.time_utc + interval 1 hour, w.end_utc) as end_utc,
        x.air_temperature_c
    from exposed as e
    join week_hours as w using (zone)
    join weather as x on x.weather = e.weather and x.time_utc >= w.start_utc and x.time_utc < w.end_utc
    where x.air_temperature_c <= $air_c + $margin_c
),
pieces as (
    select n.site_id, n.pump_id, s.kind, s.day_local, greatest(n.start_utc, s.start_utc) as start_utc,
        least(n.end_utc, s.end_utc) as end_utc, n.air_temperature_c
    from near_hours as n
    join span as s on s.pump_id = n.pump_id and s.start_utc < n.end_utc and s.end_utc > n.start_utc
    where s.kind <> 'unknown'
),
watched as (
    select n.pump_id, n.near_min - coalesce(p.seen_min, 0) as unseen_min
    from (select pump_id, sum(epoch(end_utc - start_utc) order by start_utc) / 60 as near_min from near_hours group by pump_id) as n
    left join (select pump_id, sum(epoch(end_utc - start_utc) order by start_utc) / 60 as seen_min from pieces group by pump_id)
        as p using (pump_id)
),
levels as (
    select 'freezing' as level, $air_c as most_c
    union all
    select 'near' as level, $air_c + $margin_c as most_c
),
still as (
    select l.level, p.*,
        coalesce(p.start_utc > lag(p.end_utc) over before, true) as begins
    from pieces as p
    join levels as l on p.air_temperature_c <= l.most_c
    where p.kind = 'off'
    window before as (partition by l.level, p.pump_id order by p.start_utc)
),
numbered as (
    select *, sum(begins::int) over (partition by level, pump_id order by start_utc) as stretch
    from still
),
stretches as (
    select level, pump_id, stretch, min(day_local) as first_day, max(day_local) as last_day,
        sum(epoch(end_utc - start_utc) order by start_utc) / 60 as still_min,
        min(air_temperature_c) as coldest_c
    from numbered
    group by level, pump_id, stretch
    having sum(epoch(end_utc - start_utc) order by start_utc) / 60 >= $still_min
),
nights as (
    select level, pump_id, min(first_day) as first_day, max(last_day) as last_day, count(distinct first_day) as days,
        max(still_min) as measured,
        min(coldest_c) as coldest_c
    from stretches
    group by level, pump_id
),
judged as (
    select s.site_id, s.pump_id, s.hours_read >= 0.9 * s.hours as read_enough, f.measured is not null as freezing,
        n.measured is not null as near,
        coalesce(w.unseen_min, 0) >= $still_min as unseen, coalesce(f.first_day, n.first_day) as first_day,
            coalesce(f.last_day, n.last_day) as last_day,
        coalesce(f.days, n.days) as days, coalesce(f.measured, n.measured) as measured,
        coalesce(f.coldest_c, n.coldest_c) as coldest_c
    from stations as s
    left join nights as f on f.pump_id = s.pump_id and f.level = 'freezing'
    left join nights as n on n.pump_id = s.pump_id and n.level = 'near'
    left join watched as w on w.pump_id = s.pump_id
),
evidence as (
    select site_id, pump_id as component, case when freezing then 'found' else 'cannot tell' end as verdict,
        case when freezing then null
            when near
                then format('a check on site: the pump stood still while the station read {:.1f} deg C, '
                    || 'and the pad may be colder', coldest_c)
            when unseen then 'readings of the cold hours; until then check on site'
            else 'hourly readings of a weather station for the week' end as needs,
        first_day, last_day, days, measured, $still_min::double as threshold, 'min still' as unit,
        case when coldest_c is not null then format('down to {:.1f} deg C', coldest_c) end as extra
    from judged
    where freezing or near or unseen or not read_enough
)
select * from evidence order by site_id, component
