-- D12, auxiliary load on with the pump off or turning far below its minimum: its relay is stuck or its interlock fails.
-- grain: one pump with an auxiliary load. inputs: span, judged_day, pump_fact, export, pump_source.
-- parameters: $far_share (of the load's minimum speed: below it nearly no water moves), $minutes (least event, beyond
--   one sample) [min], $events (of the week), $still_min (one event this long is enough) [min].
-- columns: those of EVIDENCE that it fills.
-- The load's state and the speed may be written a sample apart: an event has to outlast one sample interval.
with loaded as (
    select site_id, pump_id, aux_load, aux_min_speed_rpm
    from pump_fact
    where aux_load <> 'none'
),
sampled as (
    select p.pump_id, max(e.hold_s) / 60.0 as sample_min
    from pump_source as p
    join export as e using (source)
    group by p.pump_id
),
logged as (
    select l.site_id, l.pump_id, s.day_local, s.start_utc, s.end_utc, s.duration_min, s.speed_rpm, s.kind,
        s.aux_on and coalesce(s.kind = 'off' or (s.kind = 'run' and s.speed_rpm < $far_share * l.aux_min_speed_rpm), false)
            as starved
    from loaded as l
    join span as s using (pump_id)
    join judged_day as j on j.day_local = s.day_local and j.in_week
    where s.aux_on is not null
),
marked as (
    select *, coalesce(start_utc > lag(end_utc) over (partition by pump_id order by start_utc), true) as begins
    from logged
    where starved
),
numbered as (
    select *, sum(begins::int) over (partition by pump_id order by start_utc) as event
    from marked
),
events as (
    select site_id, pump_id, event, list(distinct day_local) as event_days,
        sum(duration_min order by start_utc) - coalesce(any_value(sample_min), 0) as sure_min,
        sum(duration_min order by start_utc) as event_min, bool_or(kind = 'off') as still
    from numbered
    left join sampled using (pump_id)
    group by site_id, pump_id, event
),
counted as (
    select site_id, pump_id, count(*) as events, max(event_min) as longest_min, max(sure_min) as longest_sure_min,
        sum(event_min order by event) as total_min, bool_or(still) as still,
        list_distinct(flatten(list(event_days))) as days
    from events
    where sure_min >= $minutes
    group by site_id, pump_id
),
found as (
    select c.site_id, c.pump_id as component, 'found' as verdict, null as needs, list_min(c.days) as first_day,
        list_max(c.days) as last_day, len(c.days) as days, c.longest_min as measured, $minutes::double as threshold,
        'min' as unit,
        format('The {} was on while the pump {}, {}, {:.0f} min in all.', l.aux_load,
            case when c.still then 'stood still' else 'turned far below the minimum speed' end,
            case when c.events = 1 then 'once' else format('{} times', c.events) end, c.total_min) as extra
    from counted as c
    join loaded as l using (pump_id)
    where c.events >= $events or c.longest_sure_min >= $still_min
),
silent as (
    select l.site_id, l.pump_id as component, 'cannot tell' as verdict,
        format('the state of the {} in the export', l.aux_load) as needs, null::date as first_day,
        null::date as last_day, null::bigint as days, null::double as measured, null::double as threshold,
        'min' as unit, null as extra
    from loaded as l
    anti join logged using (pump_id)
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
