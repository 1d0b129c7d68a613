-- Rows that DuckDB read with typed columns, numbered by line and scaled to the units of the readings table.
-- Grain: one row of one export. Inputs: fast_row (stamp as timestamp, pump_id, speed, power, energy_total, run_total,
--   flow, air_temperature, aux_text; in file order).
-- Parameters: $first_line, line of the first data row; $interval_s, length of the interval that a row describes, null
--   for none; $<quantity>_scale, factors into rpm, W, kWh, h, m3/h, degrees C; $air_temperature_shift, added after.
-- Output: line, raw, fault, pump_id, stamp, interval_s, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h,
--   air_temperature_c, aux_text.
with source as (
    select row_number() over () - 1 as place, * from fast_row
),

typed as (
    select
        place + $first_line as line,
        null::varchar as raw,
        null::varchar as fault,
        nullif(trim(pump_id), '') as pump_id,
        stamp,
        $interval_s::bigint as interval_s,
        speed * $speed_scale as speed_rpm,
        power * $power_scale as power_w,
        energy_total * $energy_total_scale as energy_total_kwh,
        run_total * $run_total_scale as run_total_h,
        flow * $flow_scale as flow_m3h,
        air_temperature * $air_temperature_scale + $air_temperature_shift as air_temperature_c,
        nullif(trim(aux_text), '') as aux_text
    from source
)

select * from typed
