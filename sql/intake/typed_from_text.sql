-- Rows read as text, typed one cell at a time; the first cell that does not fit is the row's fault, in words.
-- Grain: one data row of one export. Inputs: text_row (line, raw, fault, pump_text, time_text, <quantity>_text,
--   aux_text).
-- Parameters: $epoch_unit_us, microseconds of one count of an epoch stamp, null where stamps are text; $time_format,
--   strptime format otherwise; $offsets, regular expression that such a stamp fits; $decimal, decimal mark; $thousands, mark between thousands, empty for none; $grouped,
--   regular expression of a number with thousands marked; $interval_s, length of the interval that a row describes,
--   null for none; $<quantity>_scale, factors into rpm, W, kWh, h, m3/h, degrees C; $air_temperature_shift, added after.
-- Under a decimal comma a cell with a point is no number: 1.500 may be one and a half or fifteen hundred. With
-- thousands marked, a mark stands before every third digit or the cell is no number.
-- Output: line, raw, fault, pump_id, stamp, interval_s, speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h,
--   air_temperature_c, aux_text.
with source as (
    select
        line,
        raw,
        fault,
        nullif(trim(pump_text), '') as pump_text,
        nullif(trim(time_text), '') as time_text,
        list_transform(
            [speed_text, power_text, energy_total_text, run_total_text, flow_text, air_temperature_text],
            lambda cell: nullif(trim(cell), '')
        ) as cells,
        ['speed', 'power', 'energy counter', 'run-hour counter', 'flow', 'air temperature'] as names,
        nullif(trim(aux_text), '') as aux_text
    from text_row
),

ungrouped as (
    select
        *,
        list_transform(
            cells,
            lambda cell: case
                when $thousands = '' or cell is null then cell
                when regexp_full_match(translate(cell, chr(160) || chr(8239), '  '), $grouped)
                    then replace(translate(cell, chr(160) || chr(8239), '  '), $thousands, '')
                else 'no number'
            end
        ) as plain
    from source
),

cast_cells as (
    select
        *,
        case
            when $epoch_unit_us is null and not regexp_matches(time_text, $offsets) then null
            when $epoch_unit_us is null then try_strptime(time_text, $time_format)::timestamp
            when try_cast(time_text as bigint) between 0 and 1e17 / $epoch_unit_us
                then make_timestamp(try_cast(time_text as bigint) * $epoch_unit_us)
        end as stamp,
        list_transform(plain, lambda cell: try_cast(translate(cell, $decimal || '.', '.,') as double)) as numbers
    from ungrouped
),

checked as (
    select
        *,
        list_position(
            list_transform(range(1, 7), lambda i: cells[i] is not null and numbers[i] is null), true
        ) as wrong
    from cast_cells
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
            when wrong > 0 then format('has the {} ''{}'', which is not a number', names[wrong], cells[wrong])
        end as fault,
        pump_text as pump_id,
        stamp,
        $interval_s::bigint as interval_s,
        numbers[1] * $speed_scale as speed_rpm,
        numbers[2] * $power_scale as power_w,
        numbers[3] * $energy_total_scale as energy_total_kwh,
        numbers[4] * $run_total_scale as run_total_h,
        numbers[5] * $flow_scale as flow_m3h,
        numbers[6] * $air_temperature_scale + $air_temperature_shift as air_temperature_c,
        aux_text
    from checked
)

select * from typed
