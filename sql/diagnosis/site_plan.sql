-- What the simple best plans of a site's pumps come to.
-- grain: one site. inputs: pump_fact, best_plan. parameters: none.
-- columns: site_id, planned, priced (bool: every pump has a plan, every plan a price), plan_kwh [kWh per day], plan_cost
--   [currency per day], withheld (why there is none, in words).
with site_plan as (
    select f.site_id, count(b.speed_rpm) = count(*) as planned, count(b.cost_day) = count(*) as priced,
        sum(b.energy_kwh_day order by f.pump_id) as plan_kwh, sum(b.cost_day order by f.pump_id) as plan_cost,
        string_agg(distinct b.withheld, '; ' order by b.withheld) filter (b.speed_rpm is null and b.withheld <> '')
            as withheld
    from pump_fact as f
    left join best_plan as b using (pump_id)
    group by f.site_id
    order by f.site_id
)
select * from site_plan
