-- What the simple best plan of a pump has to keep to.
-- grain: one pump. inputs: pump, site, plan, daily, fleet_day. parameters: none.
-- columns: site_id, pump_id, pool_volume_m3, required_turnovers (per day, whole site), site_pumps, tariff, limit_m3h
--   (the lower of the known ratings, null none known), limits_known (bool: both are), plan_rpm (highest speed of the
--   plan in force on the last day; null no plan), full_speed_rpm, aux_load, aux_min_speed_rpm, least_run_min (minutes a
--   day it must run at least: the load's, and for a public pool those of the plan in force, all day without one,
--   because codes ask many public pools for continuous running, facts 3.2).
-- Where the load is not logged it may have run whenever the plan let it: then the planned minutes at or above its
--   minimum speed are kept.
with last_day as (
    select max(day_local) as last_day
    from fleet_day
),
in_force as (
    select p.pump_id, max(p.valid_from) as valid_from
    from plan as p
    join last_day as l on p.valid_from <= l.last_day
    group by p.pump_id
),
planned as (
    select r.pump_id, max(r.speed_rpm) as plan_rpm, sum(r.run_min) as planned_min,
        sum(r.run_min) filter (r.speed_rpm >= m.aux_min_speed_rpm) as planned_aux_min
    from (
        select p.pump_id, p.speed_rpm,
            case when p.stop_min > p.start_min then p.stop_min - p.start_min else p.stop_min - p.start_min + 1440 end
                as run_min
        from plan as p
        join in_force as f on f.pump_id = p.pump_id and f.valid_from = p.valid_from
    ) as r
    join pump as m using (pump_id)
    group by r.pump_id
),
loaded as (
    select d.pump_id, max(d.aux_min) as aux_min
    from daily as d
    join fleet_day using (day_local)
    group by d.pump_id
),
sized as (
    select site_id, count(*) as site_pumps
    from pump
    group by site_id
),
plan_input as (
    select s.site_id, p.pump_id, s.pool_volume_m3, s.required_turnovers, z.site_pumps, s.tariff,
        least(s.filter_limit_m3h, s.suction_limit_m3h) as limit_m3h,
        s.filter_limit_m3h is not null and s.suction_limit_m3h is not null as limits_known, n.plan_rpm,
            p.full_speed_rpm, p.aux_load,
        p.aux_min_speed_rpm,
        greatest(
            case when p.aux_load = 'none' then 0 else coalesce(l.aux_min, n.planned_aux_min, 0) end,
            case when s.pool_class = 'public' then coalesce(n.planned_min, 1440) else 0 end
        ) as least_run_min
    from pump as p
    join site as s using (site_id)
    join sized as z using (site_id)
    left join planned as n using (pump_id)
    left join loaded as l using (pump_id)
    order by s.site_id, p.pump_id
)
select * from plan_input
