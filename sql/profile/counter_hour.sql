-- Counters reduced to hours, so that what a counter does can be judged without a walk along every reading.
-- Grain: pump, counter, hour with a reading of it. Inputs: reading (columns of readings, one row a pump and instant).
-- Output: pump_id, counter (energy_total [kWh] or run_total [h]), hour (since 1970 UTC), first_utc, last_utc,
--   first_value, last_value, least_value, most_value.
with energy as (
    select
        pump_id,
        'energy_total' as counter,
        epoch_us(time_utc) // 3_600_000_000 as hour,
        min(time_utc) as first_utc,
        max(time_utc) as last_utc,
        arg_min(energy_total_kwh, time_utc) as first_value,
        arg_max(energy_total_kwh, time_utc) as last_value,
        min(energy_total_kwh) as least_value,
        max(energy_total_kwh) as most_value
    from reading
    where energy_total_kwh is not null
    group by all
),

run as (
    select
        pump_id,
        'run_total' as counter,
        epoch_us(time_utc) // 3_600_000_000 as hour,
        min(time_utc) as first_utc,
        max(time_utc) as last_utc,
        arg_min(run_total_h, time_utc) as first_value,
        arg_max(run_total_h, time_utc) as last_value,
        min(run_total_h) as least_value,
        max(run_total_h) as most_value
    from reading
    where run_total_h is not null
    group by all
),

counter_hour as (
    select * from energy
    union all
    select * from run
)

select * from counter_hour
