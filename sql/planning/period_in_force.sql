-- Periods of the plan in force on the last day.
-- grain: one pump and period. inputs: plan, fleet_day. parameters: none.
-- columns: pump_id, period, speed_rpm [rev/min], start_min (0..1439), run_min (1..1440) [min].
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
period_in_force as (
    select p.pump_id, p.period, p.speed_rpm, p.start_min % 1440 as start_min,
        (p.stop_min - p.start_min - 1 + 1440) % 1440 + 1 as run_min
    from plan as p
    join in_force as f on f.pump_id = p.pump_id and f.valid_from = p.valid_from
    order by p.pump_id, p.period
)
select * from period_in_force
