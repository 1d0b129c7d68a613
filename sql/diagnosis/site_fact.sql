-- What the rules about whole sites need from the register.
-- grain: one site. inputs: pump_fact, site. parameters: none.
-- columns: site_id, component (its pumps, joined), pool_class, tariff, required_turnovers (per day),
--   pool_volume_m3, promised_kwh_year [kWh a year; null nothing promised].
with site_fact as (
    select f.site_id, string_agg(f.pump_id, ' + ' order by f.pump_id) as component,
        any_value(f.pool_class) as pool_class, any_value(f.tariff) as tariff,
        any_value(f.required_turnovers) as required_turnovers,
        any_value(s.pool_volume_m3) as pool_volume_m3, any_value(s.promised_kwh_year) as promised_kwh_year
    from pump_fact as f
    join site as s using (site_id)
    group by f.site_id
    order by f.site_id
)
select * from site_fact
