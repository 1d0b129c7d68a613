-- D2, running dry: a turning pump at far less power than its speed takes; and pumps whose power went missing meanwhile.
-- Grain: one pump. Inputs: dry_day (accounting/dry_day.sql), judged_day, span, past_level, pump, visit.
-- Parameters: $visit_min, on a day of a visit so much is granted for opened lids and emptied pipes [min]; $deep_min, so
--   long at or below the deep share is to act on now [min]; $dry_share, $deep_share as in dry_day.sql, for wording;
--   $least_dry_min, as there; $least_level_days, days with power in the weeks before that make its absence news.
--   $again_days, on so many of the judged days the water must have come back within a run, where nothing else says dry: a
--   meter that goes wrong or is mended in mid run does so once.
-- Columns: those of EVIDENCE that it fills.
-- Minutes without any power to speak of are a drive that does not turn, and not counted here.
with visited as (
    select distinct pump.pump_id, visit.day_local
    from visit
    join pump on pump.site_id = visit.site_id and coalesce(nullif(visit.pump_id, ''), pump.pump_id) = pump.pump_id
    where visit.work not in ('check', 'keying', 'agreed override', 'closing')
),
week_day as (
    select day_local from judged_day where in_week
),
dry as (
    select d.*
    from dry_day as d
    semi join week_day as w on w.day_local = d.day_local
    left join visited as v on v.pump_id = d.pump_id and v.day_local = d.day_local
    where d.powered_min >= case when v.pump_id is null then $least_dry_min else greatest($visit_min, $least_dry_min) end
),
seen as (
    select
        site_id, pump_id, min(day_local) as first_day, max(day_local) as last_day, count(*) as days,
        max(powered_min) as most_min, max(deep_min) as deep_min, min(least_share) as least_share,
        bool_or(after_start) as after_start, bool_or(found_again) as found_again, bool_and(found_again) as only_again
    from dry
    group by site_id, pump_id
),
again as (
    select d.pump_id, count(*) as days
    from dry_day as d
    join judged_day as j using (day_local)
    where d.found_again
    group by d.pump_id
),
found as (
    select
        site_id, pump_id as component, 'found' as verdict, null as needs,
        case when deep_min >= $deep_min then 'safety' end as severity,
        first_day, last_day, seen.days, most_min as measured, $least_dry_min::double as threshold, 'min a day' as unit,
        format(
            'Down to {:.0f} % of the power that its speed takes{}. {}', 100 * least_share,
            if(after_start, ', from a start on', ''),
            case
                when found_again then 'Then it rose at the same speed to what that takes: the water came.'
                when least_share <= $deep_share then 'A broken coupling looks the same.'
                when least_share <= $dry_share then 'A valve shut behind the pump, or a broken coupling, looks much the same.'
                else 'That is hardly more than it draws without any load.'
            end
        ) as extra
    from seen
    left join again using (pump_id)
    where not seen.only_again or again.days >= $again_days
),
power_in_week as (
    select distinct span.pump_id
    from span
    semi join week_day as w on w.day_local = span.day_local
    where span.kind = 'run' and span.power_w is not null
),
ran_in_week as (
    select span.site_id, span.pump_id
    from span
    semi join week_day as w on w.day_local = span.day_local
    where span.kind = 'run'
    group by span.site_id, span.pump_id
),
power_before as (
    select pump_id, max(day_local) as last_day
    from past_level
    where day_local < (select min(day_local) from week_day)
    group by pump_id
    having count(distinct day_local) >= $least_level_days
),
silent as (
    select
        r.site_id, r.pump_id as component, 'cannot tell' as verdict,
        format('the logged power, which its export gave until {}', b.last_day) as needs, null as severity,
        null::date as first_day, null::date as last_day, null::bigint as days, null::double as measured,
        null::double as threshold, 'min a day' as unit, null as extra
    from ran_in_week as r
    join power_before as b using (pump_id)
    anti join power_in_week as p on p.pump_id = r.pump_id
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
