-- The readings of one export in one local ISO week, in the order of the readings table.
-- Grain: one reading. Inputs: judged_row. Parameters: $week (2026-W44). Output: the columns of readings.
with source as (
    select * from judged_row where fate = 'readings' and strftime(day_local, '%G-W%V') = $week
),

week_readings as (
    select
        pump_id, time_utc, day_local, interval_s, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on,
        air_temperature_c, export_id, line
    from source
    order by pump_id, time_utc
)

select * from week_readings
