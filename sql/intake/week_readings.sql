-- The readings of one export in one local ISO week, in the order of the readings table.
-- Grain: one reading. Inputs: judged_row. Parameters: $monday, its first day. Output: the columns of readings.
with source as (
    -- By days, not by the week's name: rows lie about in order of time, so most of them need not be looked at.
    select * from judged_row where fate = 'readings' and day_local >= $monday and day_local < $monday + interval 7 days
),

week_readings as (
    select
        pump_id, time_utc, day_local, interval_s, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on,
        air_temperature_c, export_id, line
    from source
    order by pump_id, time_utc
)

select * from week_readings
