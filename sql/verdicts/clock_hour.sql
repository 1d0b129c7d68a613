-- What counters rose from the first reading of an hour to the first of the next one, with the pump's speeds there.
-- Grain: pump, counter, hour that has a later one. Inputs: counter_hour; pump_quarter. Parameters: $same_speed_rpm,
--   the pump runs at one speed [rev/min].
-- Output: pump_id, counter, level (speed in steps of 25 rev/min; null where it ran at more than one), lasting (the
--   next hour begins at it too), rise [kWh or h], passed_min [min].
with hour_speed as (
    select
        pump_id,
        epoch_us(start_utc) // 3_600_000_000 as hour,
        min(speed_rpm) as least_rpm,
        max(speed_rpm) as most_rpm
    from pump_quarter
    where speed_rpm is not null
    group by all
),

neighboured as (
    select
        counter_hour.pump_id,
        counter_hour.counter,
        lead(first_value) over hours - first_value as rise,
        (epoch_ms(lead(first_utc) over hours) - epoch_ms(first_utc)) / 60_000 as passed_min,
        least_rpm,
        most_rpm,
        lead(least_rpm) over hours as next_least_rpm
    from counter_hour left join hour_speed using (pump_id, hour)
    window hours as (partition by counter_hour.pump_id, counter order by hour)
),

clock_hour as (
    select
        pump_id,
        counter,
        if(
            least_rpm > 0 and most_rpm - least_rpm <= $same_speed_rpm,
            round((least_rpm + most_rpm) / 50)::bigint,
            null
        ) as level,
        coalesce(abs(next_least_rpm - least_rpm) <= $same_speed_rpm, false) as lasting,
        rise,
        passed_min
    from neighboured
    where passed_min is not null
)

select * from clock_hour
