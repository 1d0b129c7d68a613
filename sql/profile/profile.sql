-- Quarter hours of each pump's local day: minutes running, off and unknown, mean speed, energy.
-- Grain: pump, local day, quarter (92, 96 or 100 a day). Inputs: span; pump_day; quarter (zone, day_local, quarter,
--   start_utc, end_utc, clock_local); plan_slot (pump_id, day_local, quarter, planned_speed_rpm).
-- Output: the columns of profile. The mean speed counts off minutes as 0 and leaves unknown minutes out.
with source as (
    select * from span
),

-- a span touches consecutive quarters, so they are counted off instead of searched for
touched as (
    select
        source.pump_id,
        source.day_local,
        source.kind,
        source.speed_rpm,
        source.aux_on,
        source.energy_kwh,
        source.start_min,
        source.duration_min,
        unnest(range(floor(source.start_min / 15)::bigint, ceil((source.start_min + source.duration_min) / 15)::bigint)) as quarter
    from source
),

-- whole numbers add up the same in any order
shared as (
    select
        *,
        round((least(start_min + duration_min, (quarter + 1) * 15) - greatest(start_min, quarter * 15)) * 60000)::bigint as held_ms
    from touched
),

summed as (
    select
        pump_id,
        day_local,
        quarter,
        coalesce(sum(held_ms) filter (where kind = 'run'), 0) / 60000 as run_min,
        coalesce(sum(held_ms) filter (where kind = 'off'), 0) / 60000 as off_min,
        if(count(aux_on) > 0, coalesce(sum(held_ms) filter (where aux_on), 0) / 60000, null) as aux_min,
        sum(held_ms * (speed_rpm * 1e6)::bigint) / 1e6 / nullif(sum(held_ms) filter (where speed_rpm is not null), 0) as speed_rpm,
        sum((energy_kwh * 1e9 * held_ms / (duration_min * 60000))::bigint) / 1e9 as energy_kwh
    from shared
    where held_ms > 0
    group by all
),

profile as (
    select
        pump_day.site_id,
        pump_day.pump_id,
        pump_day.day_local,
        quarter.quarter,
        quarter.clock_local,
        coalesce(summed.run_min, 0) as run_min,
        coalesce(summed.off_min, 0) as off_min,
        greatest(15 - coalesce(summed.run_min, 0) - coalesce(summed.off_min, 0), 0) as unknown_min,
        summed.aux_min,
        summed.speed_rpm,
        plan_slot.planned_speed_rpm,
        summed.energy_kwh
    from pump_day
    join quarter using (zone, day_local)
    left join summed using (pump_id, day_local, quarter)
    left join plan_slot using (pump_id, day_local, quarter)
    order by pump_day.pump_id, pump_day.day_local, quarter.quarter
)

select * from profile
