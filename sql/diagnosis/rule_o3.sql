-- O3, costs more than it has to: the week's days against the site's own simple best plan, in money where there is a
--   tariff, else in kWh.
-- grain: one site. inputs: site_fact, site_day, site_plan, spending_excused, span, speed_grid, found_cause (EVIDENCE of
--   the rules about causes).
-- Days that freeze protection or work on record explains are not judged: minutes explained once are not used again.
-- The best plan counts neither priming nor rest, which are the controller's own: so they are taken off what was spent, at
--   the day's mean price, and what a pump draws at rest all the time (B14) is taken off its running as well.
-- parameters: $excess (share), $money_limit [currency per week], $kwh_limit [kWh per week], $days (of 7). columns:
--   those of EVIDENCE that it fills.
with ghost as (
    select component as pump_id, measured as floor_w
    from found_cause
    where rule_id = 'B14'
),
beside_plan as (
    select s.site_id, s.day_local,
        sum(s.duration_min / 60000 * case
            when s.kind = 'off' then coalesce(s.power_w, 0)
            when s.cause = 'priming' then coalesce(s.power_w, g.power_w_mid, 0)
            when s.kind = 'run' then coalesce(h.floor_w, 0)
            else 0
        end order by s.pump_id, s.start_utc) as kwh
    from span as s
    left join ghost as h using (pump_id)
    left join speed_grid as g on g.pump_id = s.pump_id and g.speed_rpm = round(s.speed_rpm / 25) * 25
    group by s.site_id, s.day_local
),
running as (
    select d.site_id, d.day_local, d.energy_kwh - least(coalesce(b.kwh, 0), d.energy_kwh) as energy_kwh,
        d.cost * (1 - least(coalesce(b.kwh, 0) / nullif(d.energy_kwh, 0), 1)) as cost
    from site_day as d
    left join beside_plan as b on b.site_id = d.site_id and b.day_local = d.day_local
),
compared as (
    select d.site_id, d.day_local, p.priced,
        case when p.priced then d.cost else d.energy_kwh end as spent, case when p.priced
            then p.plan_cost else p.plan_kwh end as needed,
        d.energy_kwh - p.plan_kwh as excess_kwh
    from running as d
    join site_plan as p using (site_id)
    anti join spending_excused as e on e.site_id = d.site_id and e.day_local = d.day_local
    where p.planned
),
judged as (
    select f.site_id, f.component, p.planned, p.priced, p.withheld, count(c.spent) as judged_days,
        count(*) filter (c.spent > (1 + $excess) * c.needed) as days,
        string_agg(c.day_local::varchar, ' ' order by c.day_local) filter (c.spent > (1 + $excess) * c.needed) as on_days,
        min(c.day_local) filter (c.spent > (1 + $excess) * c.needed) as first_day,
        max(c.day_local) filter (c.spent > (1 + $excess) * c.needed) as last_day,
        avg(c.spent order by c.day_local) as measured,
        any_value(c.needed) as threshold,
        7 * avg(c.spent - c.needed order by c.day_local) as excess_week,
        7 * avg(c.excess_kwh order by c.day_local) as excess_kwh_week
    from site_fact as f
    join site_plan as p using (site_id)
    left join compared as c using (site_id)
    group by f.site_id, f.component, p.planned, p.priced, p.withheld
),
found as (
    select site_id, component, 'found' as verdict, null as needs, first_day, last_day, on_days, days, measured, threshold,
        case when priced then 'money a day' else 'kWh a day' end as unit,
        case when priced then format('Costs {:.2f} a day in the currency of the fleet, priming and rest left out', measured)
            else format('Uses {:.2f} kWh a day, priming and rest left out', measured) end as extra,
        greatest(excess_kwh_week, 0) as benefit_kwh_week, case when priced then excess_week end as benefit_money_week
    from judged
    where planned and days >= $days and excess_week > case when priced then $money_limit else $kwh_limit end
),
silent as (
    select site_id, component, 'cannot tell' as verdict,
        case when not planned then coalesce('a simple best plan, which is withheld: ' || withheld, 'a simple best plan')
            else format('at least {:.0f} believed days with energy in the week', $days::double) end as needs,
        null::date as first_day, null::date as last_day, null as on_days, null::bigint as days,
        null::double as measured, null::double as threshold,
        case when priced then 'money a day' else 'kWh a day' end as unit, null as extra, null::double
            as benefit_kwh_week, null::double as benefit_money_week
    from judged
    where not planned or judged_days < $days
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
