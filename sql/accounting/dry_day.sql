-- Local days on which a pump turned for a while at far less power than its speed takes: dry, or air in its strainer.
-- Grain: one pump and local day.
-- Inputs: span (tables.SPANS), speed_grid (tables.SPEED_GRID).
-- Parameters: $dry_share of the expected power; $least_dry_min [min a day].
-- Columns: site_id; pump_id; day_local; dry_min [min].
-- Only where power was logged, and priming is left out: a pump that primes is part full of air.
with running as (
    select
        span.site_id, span.pump_id, span.day_local, span.start_utc, span.duration_min,
        span.power_w < $dry_share * speed_grid.power_w_mid as dry
    from span
    join speed_grid
        on speed_grid.pump_id = span.pump_id
        and speed_grid.speed_rpm = cast(round(span.speed_rpm / 25) * 25 as bigint)
    where span.kind = 'run' and span.cause <> 'priming' and span.power_w is not null
),
dry_day as (
    select site_id, pump_id, day_local, sum(duration_min order by start_utc) as dry_min
    from running
    where dry
    group by site_id, pump_id, day_local
    having sum(duration_min) >= $least_dry_min
    order by site_id, pump_id, day_local
)
select * from dry_day
