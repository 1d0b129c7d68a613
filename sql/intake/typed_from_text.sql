-- Rows read as text, typed one cell at a time; the first cell that does not fit is the row's fault, in words.
-- Grain: one data row of one export. Inputs: text_row (line, raw, fault, pump_text, time_text, <quantity>_text,
--   aux_text).
-- Parameters: $epoch, stamps are epoch seconds; $time_format, strptime format otherwise; $decimal, decimal mark;
--   $<quantity>_scale, factors into rpm, W, kWh, h, m3/h.
-- Under a decimal comma a cell with a point is no number: 1.500 may be one and a half or fifteen hundred.
-- Output: line, raw, fault, pump_id, stamp, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_text.
with source as (
    select
        line,
        raw,
        fault,
        nullif(trim(pump_text), '') as pump_text,
        nullif(trim(time_text), '') as time_text,
        nullif(trim(speed_text), '') as speed_text,
        nullif(trim(power_text), '') as power_text,
        nullif(trim(energy_total_text), '') as energy_total_text,
        nullif(trim(run_total_text), '') as run_total_text,
        nullif(trim(flow_text), '') as flow_text,
        nullif(trim(aux_text), '') as aux_text
    from text_row
),

cast_cells as (
    select
        *,
        case
            when $epoch and try_cast(time_text as bigint) between 0 and 1e11
                then make_timestamp(try_cast(time_text as bigint) * 1000000)
            when $epoch then null
            else try_strptime(time_text, $time_format)::timestamp
        end as stamp,
        try_cast(translate(speed_text, $decimal || '.', '.,') as double) as speed,
        try_cast(translate(power_text, $decimal || '.', '.,') as double) as power,
        try_cast(translate(energy_total_text, $decimal || '.', '.,') as double) as energy_total,
        try_cast(translate(run_total_text, $decimal || '.', '.,') as double) as run_total,
        try_cast(translate(flow_text, $decimal || '.', '.,') as double) as flow
    from source
),

typed as (
    select
        line,
        raw,
        case
            when fault is not null then fault
            when time_text is null then 'has no time stamp'
            when stamp is null
                then format('has the time stamp ''{}'', which does not fit the declared format', time_text)
            when speed_text is not null and speed is null
                then format('has the speed ''{}'', which is not a number', speed_text)
            when power_text is not null and power is null
                then format('has the power ''{}'', which is not a number', power_text)
            when energy_total_text is not null and energy_total is null
                then format('has the energy counter ''{}'', which is not a number', energy_total_text)
            when run_total_text is not null and run_total is null
                then format('has the run-hour counter ''{}'', which is not a number', run_total_text)
            when flow_text is not null and flow is null
                then format('has the flow ''{}'', which is not a number', flow_text)
        end as fault,
        pump_text as pump_id,
        stamp,
        speed * $speed_scale as speed_rpm,
        power * $power_scale as power_w,
        energy_total * $energy_total_scale as energy_total_kwh,
        run_total * $run_total_scale as run_total_h,
        flow * $flow_scale as flow_m3h,
        aux_text
    from cast_cells
)

select * from typed
