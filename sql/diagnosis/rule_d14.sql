-- D14, auxiliary load on below its minimum speed while the pump runs. With the pump off it is D12.
-- grain: one pump with an auxiliary load. inputs: span, judged_day, pump_fact.
-- parameters: $speed_margin_rpm [rev/min], $minutes [min a day], $days (of the week).
-- columns: those of EVIDENCE that it fills.
with loaded as (
    select site_id, pump_id, aux_load, aux_min_speed_rpm
    from pump_fact
    where aux_load <> 'none'
),
logged as (
    select l.site_id, l.pump_id, l.aux_load, l.aux_min_speed_rpm, s.day_local, s.start_utc, s.duration_min, s.kind, s.aux_on,
        s.aux_on and s.kind = 'run' and s.speed_rpm < l.aux_min_speed_rpm - $speed_margin_rpm as under
    from loaded as l
    join span as s using (pump_id)
    join judged_day as j on j.day_local = s.day_local and j.in_week
    where s.aux_on is not null
),
by_day as (
    select site_id, pump_id, any_value(aux_load) as aux_load, any_value(aux_min_speed_rpm) as aux_min_speed_rpm,
        day_local,
        coalesce(sum(duration_min order by start_utc) filter (under), 0) as under_min
    from logged
    group by site_id, pump_id, day_local
),
seen as (
    select site_id, pump_id, any_value(aux_load) as aux_load, any_value(aux_min_speed_rpm) as aux_min_speed_rpm,
        count(*) filter (under_min > $minutes) as days, min(day_local) filter (under_min > $minutes) as first_day,
        max(day_local) filter (under_min > $minutes) as last_day, max(under_min) as worst_under_min
    from by_day
    group by site_id, pump_id
),
found as (
    select site_id, pump_id as component, 'found' as verdict, null as needs, first_day, last_day, days,
        worst_under_min as measured, $minutes::double as threshold, 'min a day' as unit,
        format('The {} was energised below its minimum of {:.0f} rpm.', aux_load, aux_min_speed_rpm) as extra
    from seen
    where days >= $days
),
silent as (
    select l.site_id, l.pump_id as component, 'cannot tell' as verdict,
        case when s.pump_id is null then format('the state of the {} in the export', l.aux_load)
            else format('the minimum speed of the {} in pumps.csv', l.aux_load) end as needs,
        null::date as first_day, null::date as last_day, null::bigint as days, null::double as measured,
        null::double as threshold, 'min a day' as unit, null as extra
    from loaded as l
    left join seen as s using (pump_id)
    where s.pump_id is null or l.aux_min_speed_rpm is null
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
