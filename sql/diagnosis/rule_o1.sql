-- O1, filters too little: even the high bound of the turnovers stays below the required number.
-- grain: one site. inputs: site_fact, site_day. parameters: $days (of the last 5 believed days), $short_share (of the
--   required turnovers; less is not worth a word).
-- columns: those of EVIDENCE that it fills.
-- Share of the water that passed no filter in a day: exp(-turnovers), dilution law of Gage and Bidwell (facts 3.5).
-- Water short of the requirement: what remains to the required turnovers by the high bound, over a day.
with recent as (
    select d.*, row_number() over (partition by d.site_id order by d.day_local desc) as age,
        d.turnovers_hi < (1 - $short_share) * f.required_turnovers as short
    from site_day as d
    join site_fact as f using (site_id)
),
judged as (
    select f.site_id, f.component, f.pool_class, f.required_turnovers, f.pool_volume_m3,
        count(r.day_local) as believed_days,
        count(r.turnovers_hi) as flow_days,
        count(*) filter (r.short) as days,
        string_agg(r.day_local::varchar, ' ' order by r.day_local) filter (r.short)
            as on_days,
        min(r.day_local) filter (r.short) as first_day,
        max(r.day_local) filter (r.short) as last_day,
        median(r.turnovers_hi) filter (r.short) as measured,
        median(r.turnovers_mid) filter (r.short) as usual
    from site_fact as f
    left join recent as r on r.site_id = f.site_id and r.age <= 5
    group by f.site_id, f.component, f.pool_class, f.required_turnovers, f.pool_volume_m3
),
found as (
    select site_id, component, 'found' as verdict, null as needs, case when pool_class = 'public' then 'this week' end
        as severity,
        on_days, first_day, last_day, days, measured, required_turnovers as threshold, 'turnovers a day' as unit,
        format('At least {:.0f} m3 a day short; about {:.0f} % of the water passed no filter in such a day.',
            (required_turnovers - measured) * pool_volume_m3, 100 * exp(-usual)) as extra
    from judged
    where required_turnovers is not null and days >= $days
),
silent as (
    select site_id, component, 'cannot tell' as verdict,
        case when required_turnovers is null then 'the required turnovers in sites.csv'
            when believed_days < $days then 'at least 3 believed days in the week'
            else 'a source of flow: a pump curve with a measured or design point, or a flow meter' end as needs,
        null as severity, null as on_days, null::date as first_day, null::date as last_day, null::bigint as days,
        null::double as measured, required_turnovers as threshold, 'turnovers a day' as unit, null as extra
    from judged
    where required_turnovers is null or flow_days < $days
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
