-- The plan keyed in on each local day: the newest valid_from that is not later than the day.
-- Grain: pump, local day, period. Inputs: plan; pump (pump_id, site_id); site (site_id, zone); local_day (zone,
--   day_local).
-- Output: pump_id, zone, day_local, period, speed_rpm [rev/min], start_min, stop_min [min since 00:00 by wall clock,
--   start < stop].
-- A period across midnight is two pieces of the same day's plan.
with source as (
    select plan.*, site.zone from plan join pump using (pump_id) join site using (site_id)
),

newest as (
    select source.pump_id, source.zone, local_day.day_local, max(source.valid_from) as valid_from
    from source
    join local_day on source.zone = local_day.zone and source.valid_from <= local_day.day_local
    group by all
),

keyed as (
    select newest.pump_id, newest.zone, newest.day_local, source.period, source.speed_rpm, source.start_min % 1440 as start_min, source.stop_min
    from newest
    join source using (pump_id, valid_from)
),

plan_in_force as (
    select * from keyed where start_min < stop_min
    union all
    select * replace (1440 as stop_min) from keyed where start_min >= stop_min
    union all
    select * replace (0 as start_min) from keyed where start_min >= stop_min and stop_min > 0
)

select * from plan_in_force
