-- Energy counters that fell or showed what cannot be, rewritten so that plain differences between neighbours are
--   right: a rollover goes on rising, jitter stands still, and a step of which nothing is known falls, which gives no
--   energy.
-- Grain: pump, reading of a suspect energy counter that has one before. Inputs: counter_step. Output: pump_id,
--   time_utc, energy_total_kwh.
with source as (
    select *, first_value(from_value) over steps as start_value
    from counter_step
    where counter = 'energy_total'
    window steps as (partition by pump_id order by to_utc)
),

counter_mended as (
    select
        pump_id,
        to_utc as time_utc,
        start_value + sum(coalesce(rise, -1)) over (partition by pump_id order by to_utc) as energy_total_kwh
    from source
)

select * from counter_mended order by pump_id, time_utc
