-- What the rules about whole sites need from the register.
-- grain: one site. inputs: pump_fact. parameters: none.
-- columns: site_id, component (its pumps, joined), pool_class, tariff, required_turnovers (per day).
with site_fact as (
    select site_id, string_agg(pump_id, ' + ' order by pump_id) as component, any_value(pool_class) as pool_class,
        any_value(tariff) as tariff,
        any_value(required_turnovers) as required_turnovers
    from pump_fact
    group by site_id
    order by site_id
)
select * from site_fact
