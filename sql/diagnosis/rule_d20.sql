-- D20, the season on record and the pump disagree: it stands as a closed pool does, or runs though it is closed.
-- grain: one pump. inputs: past_daily, judged_day, pump_fact, visit.
-- parameters: $still_days (valid days in a row without running), $noticed_days (the same after a closing on record),
--   $running_min (of a day: less is not running) [min], $running_days (of the week, in a closed season).
-- columns: those of EVIDENCE that it fills.
-- Without a closing on record it may as well be broken: then the pump that does not run comes first.
with week as (
    select min(day_local) filter (in_week) as first_day, max(day_local) as last_day
    from judged_day
),
worked as (
    select p.pump_id, max(v.day_local) filter (v.work = 'closing') as closed_day,
        max(v.day_local) filter (v.work = 'opening') as opened_day
    from visit as v
    join pump_fact as p on p.site_id = v.site_id and (v.pump_id is null or v.pump_id = '' or v.pump_id = p.pump_id)
    cross join week
    where v.day_local <= week.last_day
    group by p.pump_id
),
days as (
    select f.site_id, f.pump_id, f.season, d.day_local, d.valid, d.run_min > $running_min as ran,
        d.day_local >= week.first_day as in_week
    from past_daily as d
    join pump_fact as f using (pump_id)
    cross join week
    where d.day_local <= week.last_day
),
last_run as (
    select site_id, pump_id, season, coalesce(max(day_local) filter (ran), '1900-01-01'::date) as last_ran_day,
        count(*) filter (ran and in_week) as ran_days, min(day_local) filter (ran and in_week) as first_ran_day
    from days
    group by site_id, pump_id, season
),
judged as (
    select l.site_id, l.pump_id, l.season, l.ran_days, l.first_ran_day, l.last_ran_day,
        count(d.day_local) as still_days, min(d.day_local) as first_still_day, max(d.day_local) as last_still_day,
        any_value(w.closed_day) as closed_day,
        coalesce(any_value(w.closed_day) >= l.last_ran_day
            and any_value(w.closed_day) > coalesce(any_value(w.opened_day), '1900-01-01'::date), false) as noticed
    from last_run as l
    left join days as d on d.pump_id = l.pump_id and d.day_local > l.last_ran_day and d.valid
    left join worked as w on w.pump_id = l.pump_id
    group by l.site_id, l.pump_id, l.season, l.ran_days, l.first_ran_day, l.last_ran_day
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict, case when not noticed then 'D8' end as explained_by,
        first_still_day as first_day, last_still_day as last_day, still_days as days, still_days::double as measured,
        case when noticed then $noticed_days else $still_days end::double as threshold, 'days' as unit,
        case when noticed
            then format('The pump has not run since the closing of {}, and sites.csv still says open.', closed_day)
            else format('The pump has not run for {} valid days, and no closing is on record.', still_days) end as extra
    from judged
    where season = 'open' and last_still_day >= (select first_day from week)
        and still_days >= case when noticed then $noticed_days else $still_days end
    union all
    select site_id, pump_id, 'found', null, first_ran_day, last_ran_day, ran_days, ran_days::double,
        $running_days::double, 'days',
        format('The pump ran on {} days of the week, and sites.csv says closed.', ran_days)
    from judged
    where season = 'closed' and ran_days >= $running_days
)
select * from evidence order by site_id, component
