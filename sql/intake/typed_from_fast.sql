-- Rows that DuckDB read with typed columns, numbered by line and scaled to the units of the readings table.
-- Grain: one row of one export. Inputs: fast_row (stamp, pump_id, speed, power, energy_total, run_total, flow,
--   aux_text; in file order).
-- Parameters: $first_line, line of the first data row; $<quantity>_scale, factors into rpm, W, kWh, h, m3/h.
-- Output: line, raw, fault, pump_id, stamp, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_text.
with source as (
    select rowid, * from fast_row
),

typed as (
    select
        rowid + $first_line as line,
        null::varchar as raw,
        null::varchar as fault,
        nullif(trim(pump_id), '') as pump_id,
        case
            when typeof(stamp) <> 'BIGINT' then stamp::timestamp
            when stamp::bigint between 0 and 1e11 then make_timestamp(stamp::bigint * 1000000)
        end as stamp,
        speed * $speed_scale as speed_rpm,
        power * $power_scale as power_w,
        energy_total * $energy_total_scale as energy_total_kwh,
        run_total * $run_total_scale as run_total_h,
        flow * $flow_scale as flow_m3h,
        nullif(trim(aux_text), '') as aux_text
    from source
)

select * from typed
