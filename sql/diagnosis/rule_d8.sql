-- D8, pump does not run; and pumps whose plan is not on record, where that cannot be told.
-- grain: one pump. inputs: idle_day, judged_day, pump_fact. parameters: none. columns: those of EVIDENCE that it fills.
with idle as (
    select i.site_id, i.pump_id as component, 'found' as verdict, null as needs, min(i.day_local) as first_day,
        max(i.day_local) as last_day,
        string_agg(i.day_local::varchar, ' ' order by i.day_local) as on_days,
        count(*) as days,
        sum(i.running_min order by i.day_local) as measured,
        sum(i.planned_min order by i.day_local) as threshold,
        'min running' as unit
    from idle_day as i
    join judged_day as j on j.day_local = i.day_local and j.in_week
    group by i.site_id, i.pump_id
),
unplanned as (
    select site_id, pump_id as component, 'cannot tell' as verdict, 'the plan of this pump in plans.csv' as needs,
        null::date as first_day,
        null::date as last_day, null as on_days, null::bigint as days, null::double as measured, null::double as threshold,
            'min running' as unit
    from pump_fact
    where not has_plan
),
evidence as (
    from idle
    union all
    from unplanned
)
select * from evidence order by site_id, component
