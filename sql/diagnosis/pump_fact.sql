-- What the register says of each pump, its site and its plan in force on the last judged day.
-- grain: one pump. inputs: pump, site, plan, judged_day. parameters: none.
-- columns: site_id, pump_id, zone, season, pool_class, tariff, weather, freeze_risk (bool), required_turnovers (per
--   day), full_speed_rpm, aux_load, aux_min_speed_rpm, has_plan (bool: a plan was in force on some judged day).
with planned as (
    select pump_id, min(valid_from) as first_plan
    from plan
    group by pump_id
),
last_day as (
    select max(day_local) as last_day
    from judged_day
),
pump_fact as (
    select s.site_id, p.pump_id, s.zone, s.season, s.pool_class, s.tariff, s.weather, s.freeze_risk,
        s.required_turnovers,
        p.full_speed_rpm, p.aux_load, p.aux_min_speed_rpm,
        coalesce(planned.first_plan <= last_day.last_day, false) as has_plan
    from pump as p
    join site as s using (site_id)
    left join planned using (pump_id)
    cross join last_day
    order by s.site_id, p.pump_id
)
select * from pump_fact
