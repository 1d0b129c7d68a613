-- O2, filters far more than needed: even the low bound of the turnovers stands far above the required number, and the
--   plan to key in saves more than a change is worth.
-- grain: one site that is no public pool. inputs: site_fact, site_day, site_plan, spending_excused, visit.
-- parameters: $ratio (to the required turnovers), $days (of the week), $churn_share (of what is spent), $money_limit
--   [currency per week], $kwh_limit [kWh per week], $opening_days (days after an opening). columns: those of EVIDENCE
--   that it fills.
-- A public pool gets no advice to filter less. Days that freeze protection or work on record explains, and the weeks
--   after an opening, are not judged. Without turnovers the question is O1's, and is not asked twice.
with explained as (
    from spending_excused
    union
    select d.site_id, d.day_local
    from site_day as d
    join visit as v on v.site_id = d.site_id and v.work = 'opening' and d.day_local >= v.day_local
        and d.day_local - v.day_local <= $opening_days
),
plenty as (
    select f.site_id, f.component, f.required_turnovers, d.day_local, d.turnovers_lo, d.energy_kwh, d.cost
    from site_fact as f
    join site_day as d using (site_id)
    anti join explained as e on e.site_id = d.site_id and e.day_local = d.day_local
    where f.pool_class <> 'public' and d.turnovers_lo > $ratio * f.required_turnovers
),
counted as (
    select l.site_id, l.component, any_value(l.required_turnovers) as required_turnovers, count(*) as days,
        string_agg(l.day_local::varchar, ' ' order by l.day_local) as on_days,
        min(l.day_local) as first_day, max(l.day_local) as last_day, median(l.turnovers_lo) as measured,
        any_value(p.planned) as planned, any_value(p.withheld) as withheld,
        bool_and(p.priced and l.cost is not null) as in_money,
        7 * avg(l.energy_kwh order by l.day_local) as spent_kwh, 7 * avg(l.cost order by l.day_local) as spent_cost,
        7 * avg(l.energy_kwh - p.plan_kwh order by l.day_local) as saved_kwh,
        7 * avg(l.cost - p.plan_cost order by l.day_local) as saved_cost
    from plenty as l
    join site_plan as p using (site_id)
    group by l.site_id, l.component
    having count(*) >= $days
),
evidence as (
    select site_id, component, case when planned and spent_kwh is not null then 'found' else 'cannot tell' end as verdict,
        case when not planned then coalesce('a simple best plan, which is withheld: ' || withheld, 'a simple best plan')
            when spent_kwh is null then 'the energy of the week' end as needs,
        first_day, last_day, on_days, days, measured, $ratio * required_turnovers as threshold,
        'turnovers a day' as unit,
        format('Required are {:.2f}; its own simple best plan saves {:.1f} kWh a week.', required_turnovers, saved_kwh)
            as extra,
        greatest(saved_kwh, 0) as benefit_kwh_week, case when in_money then saved_cost end as benefit_money_week
    from counted
    where not planned or spent_kwh is null
        or case when in_money then saved_cost > greatest($money_limit, $churn_share * spent_cost)
            else saved_kwh > greatest($kwh_limit, $churn_share * spent_kwh) end
)
select * from evidence order by site_id, component
