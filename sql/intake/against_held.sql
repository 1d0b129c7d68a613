-- Rows of a staged export against the readings that the lake holds of the same pump and instant.
-- Grain: a staged row and a held reading that decide about each other; rows that meet none are not there.
-- Inputs: staged_reading, held_reading (both with the columns of readings); superseded_row (columns of superseded), held
--   ones that do not count; held_export (export_id, is_earlier: arrived before the staged export, same_source).
-- Output: line, pump_id, time_utc, fate, held_export_id, held_line; old_export_id, old_line, new_export_id, new_line of
--   the row that no longer stands and the one that does; speed_was_rpm, speed_rpm, power_was_w, power_w of both; counted,
--   the held row counts today.
--   fate is 'duplicates' (nothing that is not held already: dropped), 'supersedes' (the staged row stands in the place
--   of the held one) or 'superseded' (the held one came later and stands). What was read last has no say: a later row
--   that adds nothing gives way whichever was read first.
-- A row supersedes all earlier ones of its instant, also those that do not count: should the one between be withdrawn,
-- the last still stands.
-- Exports of different sources are different instruments: they neither repeat nor correct each other, unless a row is
--   the same in every value.
with source as (
    select * from staged_reading
),

gone as (
    select distinct old_export_id as export_id, old_line as line, pump_id, true as is_gone from superseded_row
),

held as (
    select held_reading.*, held_export.is_earlier, held_export.same_source, gone.is_gone is null as counted
    from held_reading
    join held_export using (export_id)
    left join gone using (export_id, line, pump_id)
),

compared as (
    select
        source.line,
        source.pump_id,
        source.time_utc,
        source.export_id,
        held.export_id as held_export_id,
        held.line as held_line,
        held.is_earlier,
        held.same_source,
        held.counted,
        source.speed_rpm as staged_rpm,
        held.speed_rpm as held_rpm,
        source.power_w as staged_w,
        held.power_w as held_w,
        [source.speed_rpm, source.power_w, source.energy_total_kwh, source.run_total_h, source.flow_m3h,
            source.aux_on::double, source.air_temperature_c] as staged_values,
        [held.speed_rpm, held.power_w, held.energy_total_kwh, held.run_total_h, held.flow_m3h, held.aux_on::double,
            held.air_temperature_c] as held_values
    from source
    join held on source.pump_id = held.pump_id and source.time_utc = held.time_utc
),

judged as (
    select
        *,
        staged_values = held_values as is_same,
        -- Nothing is lost by dropping a row all of whose values are held.
        list_bool_and(list_transform(range(1, 8),
            lambda i: staged_values[i] is null or coalesce(staged_values[i] = held_values[i], false))) as adds_nothing,
        list_bool_and(list_transform(range(1, 8),
            lambda i: held_values[i] is null or coalesce(staged_values[i] = held_values[i], false))) as held_adds_nothing,
        bool_or(same_source and counted) over (partition by line, pump_id) as own_counted
    from compared
),

fated as (
    select
        * exclude (staged_values, held_values),
        case
            when same_source and counted and adds_nothing then 'duplicates'
            -- Its own source decides before another instrument that happens to say the same.
            when not same_source and counted and is_same and not own_counted then 'duplicates'
            when same_source and (is_earlier or held_adds_nothing) then 'supersedes'
            when same_source then 'superseded'
        end as fate
    from judged
),

against_held as (
    select
        line,
        pump_id,
        time_utc,
        fate,
        held_export_id,
        held_line,
        if(fate = 'supersedes', held_export_id, export_id) as old_export_id,
        if(fate = 'supersedes', held_line, line) as old_line,
        if(fate = 'supersedes', export_id, held_export_id) as new_export_id,
        if(fate = 'supersedes', line, held_line) as new_line,
        if(fate = 'supersedes', held_rpm, staged_rpm) as speed_was_rpm,
        if(fate = 'supersedes', staged_rpm, held_rpm) as speed_rpm,
        if(fate = 'supersedes', held_w, staged_w) as power_was_w,
        if(fate = 'supersedes', staged_w, held_w) as power_w,
        counted
    from fated
    where fate is not null
    -- A row that is held as it is needs no other verdict.
    qualify count(*) filter (fate = 'duplicates') over (partition by line, pump_id) = 0
        or row_number() over (
            partition by line, pump_id order by fate <> 'duplicates', not is_same, held_export_id, held_line
        ) = 1
    order by line, pump_id, held_export_id, held_line
)

select * from against_held
