-- The readings of an export none of whose rows breaks a rule; the first that does ends the query with an error.
-- Grain: one reading. Inputs: ruled_row. Parameters: none. Output: the columns of readings, in file order.
with source as (
    select * from ruled_row
),

clean_reading as (
    select
        pump_id, time_utc, day_local, interval_s, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on,
        export_id, if(rule is null, line, error(rule)) as line
    from source
)

select * from clean_reading
