-- Stretches cut where the plan in force changes, each with what the plan asks for and the air temperature.
-- Grain: stretch of one pump within one part of its plan. Inputs: observed; plan_part; site; weather (weather,
--   time_utc, air_temperature_c, hourly).
-- Output: the columns of observed; whole (number of the uncut stretch); planned_speed_rpm (null without a plan);
--   planned_period; air_temperature_c, air_least_c (mean and least over the hours that the piece touches).
with source as (
    select *, row_number() over (order by pump_id, start_utc) as whole from observed
),

planned as (
    select
        source.* exclude (start_utc, end_utc, energy_kwh),
        greatest(source.start_utc, coalesce(plan_part.start_utc, source.start_utc)) as start_utc,
        least(source.end_utc, coalesce(plan_part.end_utc, source.end_utc)) as end_utc,
        source.energy_kwh / epoch(source.end_utc - source.start_utc) as energy_kwh_s,
        plan_part.speed_rpm as planned_speed_rpm,
        plan_part.period as planned_period
    from source
    left join plan_part
        on source.pump_id = plan_part.pump_id
        and source.day_local = plan_part.day_local
        and source.start_utc < plan_part.end_utc
        and source.end_utc > plan_part.start_utc
),

hour_of_piece as (
    select
        pump_id,
        start_utc,
        site_id,
        unnest(generate_series(date_trunc('hour', start_utc), end_utc - interval 1 second, interval 1 hour)) as time_utc
    from planned
),

air as (
    select
        hour_of_piece.pump_id,
        hour_of_piece.start_utc,
        avg(weather.air_temperature_c order by weather.time_utc) as air_temperature_c,
        min(weather.air_temperature_c) as air_least_c
    from hour_of_piece
    join site using (site_id)
    join weather on site.weather = weather.weather and hour_of_piece.time_utc = weather.time_utc
    group by all
),

piece as (
    select
        planned.* exclude (energy_kwh_s),
        planned.energy_kwh_s * epoch(planned.end_utc - planned.start_utc) as energy_kwh,
        air.air_temperature_c,
        air.air_least_c
    from planned left join air using (pump_id, start_utc)
)

select * from piece order by pump_id, start_utc
