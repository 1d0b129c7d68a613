-- What a pump's plan problem is made of: its site, its ratings, its load, and what its plan in force does.
-- grain: one pump. inputs: pump, site, plan, daily, fleet_day. parameters: none.
-- columns: site_id, pump_id, pool_class, pool_volume_m3, required_turnovers (per day, whole site), site_pumps, tariff,
--   filter_limit_m3h, suction_limit_m3h [m3/h, whole site], pipe_size, full_speed_rpm, priming_speed_rpm,
--   priming_min [min], aux_load, aux_min_speed_rpm; plan_rpm (highest speed of the plan in force on the last day),
--   planned_min (its minutes a day), both null without a plan; aux_need_min (minutes a day the load is to have: the hours
--   of the register; else the most it had in the week; where it is not logged, the planned minutes at or above its minimum
--   speed; 0 no load); and as the register has them: jurisdiction, runs_all_day, skimming_hours_per_day [h],
--   skimming_speed_rpm, solar_, quiet_ and aux_start_min and _stop_min [min of the clock], solar_ and quiet_speed_rpm,
--   longest_pause_hours [h], controller_periods, over_midnight.
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
    select p.pump_id, max(p.speed_rpm) as plan_rpm,
        cast(sum((p.stop_min - p.start_min - 1 + 1440) % 1440 + 1) as double) as planned_min,
        cast(sum((p.stop_min - p.start_min - 1 + 1440) % 1440 + 1) filter (p.speed_rpm >= m.aux_min_speed_rpm) as double)
            as planned_aux_min
    from plan as p
    join in_force as f on f.pump_id = p.pump_id and f.valid_from = p.valid_from
    join pump as m on m.pump_id = p.pump_id
    group by p.pump_id
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
pump_terms as (
    select s.site_id, p.pump_id, s.pool_class, s.pool_volume_m3, s.required_turnovers, z.site_pumps, s.tariff,
        s.filter_limit_m3h, s.suction_limit_m3h, p.pipe_size, p.full_speed_rpm, p.priming_speed_rpm, p.priming_min,
        p.aux_load, p.aux_min_speed_rpm, n.plan_rpm, n.planned_min,
        case when p.aux_load = 'none' then 0 else coalesce(60 * p.aux_hours_per_day, l.aux_min, n.planned_aux_min, 0) end
            as aux_need_min,
        s.jurisdiction, s.runs_all_day, s.skimming_hours_per_day, s.skimming_speed_rpm, s.solar_start_min, s.solar_stop_min,
        s.solar_speed_rpm, s.quiet_start_min, s.quiet_stop_min, s.quiet_speed_rpm, s.longest_pause_hours, p.aux_start_min,
        p.aux_stop_min, p.controller_periods, p.over_midnight
    from pump as p
    join site as s using (site_id)
    join sized as z using (site_id)
    left join planned as n using (pump_id)
    left join loaded as l using (pump_id)
    order by s.site_id, p.pump_id
)
select * from pump_terms
