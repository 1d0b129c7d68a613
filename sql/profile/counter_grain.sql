-- Each counter's resolution and usual rate.
-- Grain: pump, counter. Inputs: counter_hour. Parameters: $standby_kw, an energy counter that rises slower counts what
--   a drive draws at rest [kW].
-- Output: pump_id, counter, resolution [kWh or h], usual_per_h (median over the hours in which it rose faster than at
--   rest; where it never did, over those in which it rose at all; null where it did not) [kWh/h or h/h].
with neighboured as (
    select
        *,
        (first_value - lag(first_value) over hours)
            / (epoch_ms(first_utc) - epoch_ms(lag(first_utc) over hours)) * 3_600_000 as rate_per_h
    from counter_hour
    window hours as (partition by pump_id, counter order by hour)
),

valued as (
    select pump_id, counter, unnest([first_value, last_value]) as value
    from counter_hour
),

-- the coarsest of these steps that all values are multiples of; the finest where none is
grained as (
    select
        pump_id,
        counter,
        case
            when bool_and(abs(value - round(value)) < 1e-3) then 1
            when bool_and(abs(value * 10 - round(value * 10)) < 1e-3) then 0.1
            when bool_and(abs(value * 100 - round(value * 100)) < 1e-3) then 0.01
            when counter = 'run_total' and bool_and(abs(value * 60 - round(value * 60)) < 1e-3) then 1 / 60
            when bool_and(abs(value * 1000 - round(value * 1000)) < 1e-3) then 0.001
            when counter = 'run_total' and bool_and(abs(value * 3600 - round(value * 3600)) < 1e-3) then 1 / 3600
            else 0.0001
        end::double as resolution
    from valued
    group by pump_id, counter
),

usual as (
    select
        pump_id,
        counter,
        coalesce(
            median(rate_per_h) filter (where rate_per_h > if(counter = 'energy_total', $standby_kw, 0)),
            median(rate_per_h) filter (where rate_per_h > 0)
        ) as usual_per_h
    from neighboured
    group by pump_id, counter
),

counter_grain as (
    select pump_id, counter, grained.resolution, usual.usual_per_h
    from grained join usual using (pump_id, counter)
)

select * from counter_grain order by pump_id, counter
