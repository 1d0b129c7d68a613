-- Rows that DuckDB read with typed columns, numbered by line and scaled to the units of the readings table.
-- Grain: one row of one export. Inputs: fast_row (stamp as timestamp, pump_id, speed, power, energy_total, run_total,
--   flow, aux_text; in file order).
-- Parameters: $first_line, line of the first data row; $<quantity>_scale, factors into rpm, W, kWh, h, m3/h.
-- Output: line, raw, fault, pump_id, stamp, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_text.
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
        speed * $speed_scale as speed_rpm,
        power * $power_scale as power_w,
        energy_total * $energy_total_scale as energy_total_kwh,
        run_total * $run_total_scale as run_total_h,
        flow * $flow_scale as flow_m3h,
        nullif(trim(aux_text), '') as aux_text
    from source
)

select * from typed
