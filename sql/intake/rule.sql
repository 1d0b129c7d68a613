-- Each row by itself: what it says, and the rule that it breaks.
-- Grain: one data row of one export. Inputs: placed_row; known_word (word, aux_on), the export's words for the
--   auxiliary load.
-- Parameters: $export_id; $speed_most_rpm, $power_least_w, $power_most_w, $flow_most_m3h, $air_least_c, $air_most_c,
--   limits outside which a value cannot be true.
-- A pump most of whose watts are negative has its meter clamp on backwards: that is one doubt about its log (B10), and
-- its rows are read. Fewer than a dozen negative values, or one among small ones, are no measurement.
-- Output: the columns of placed_row; aux_on; export_id; rule, null where none is broken.
with backwards as (
    -- Grouped, not a window: a window would hold every row of a large file.
    select pump_id, true as is_backwards
    from placed_row
    group by pump_id
    having count(*) filter (power_w < $power_least_w) > greatest(11, count(*) filter (power_w > -$power_least_w))
),

source as (
    select
        placed_row.*,
        known_word.aux_on,
        $export_id as export_id,
        coalesce(backwards.is_backwards, false) as is_backwards
    from placed_row
    left join known_word on placed_row.aux_text = known_word.word
    left join backwards on placed_row.pump_id = backwards.pump_id
),

ruled as (
    select
        * exclude (is_backwards),
        case
            when fault is not null then 'cannot_be_read'
            when pump_id is null then 'pump_missing'
            when zone is null then 'pump_not_in_register'
            when clock_state = 'never' then 'hour_does_not_exist'
            when time_fault is not null then time_fault
            when day_local is null or time_utc < timestamp '2000-01-01' or time_utc >= timestamp '2100-01-01' then 'time_out_of_range'
            when not coalesce(speed_rpm between 0 and $speed_most_rpm, true) then 'speed_out_of_range'
            when not coalesce(power_w between if(is_backwards, -$power_most_w, $power_least_w) and $power_most_w, true)
                then 'power_out_of_range'
            when not coalesce(energy_total_kwh between 0 and 1e9, true)
                or not coalesce(run_total_h between 0 and 1e7, true)
                then 'counter_out_of_range'
            when not coalesce(flow_m3h between 0 and $flow_most_m3h, true) then 'flow_out_of_range'
            when not coalesce(air_temperature_c between $air_least_c and $air_most_c, true)
                then 'temperature_out_of_range'
            when aux_text is not null and aux_on is null then 'aux_word_unknown'
            when coalesce(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, air_temperature_c) is null then 'nothing_measured'
        end as rule
    from source
)

select * from ruled
