-- The fate of each row within its export: reading, duplicate, quarantine or reject, and the rule that decided.
-- Grain: one data row of one export. Inputs: placed_row; known_word (word, aux_on), the export's words for the
--   auxiliary load.
-- Parameters: $interval_s, interval that a row describes, null for instants and changes of state; $export_id;
--   $speed_most_rpm, $power_least_w, $power_most_w, $flow_most_m3h, limits outside which a value cannot be true.
-- Output: the columns of readings; fate; rule (null for a reading); reason (what a reject cannot be read by); raw.
-- Two rows of one pump at one instant: the first stands; the same values again are a duplicate, other values a
--   conflict.
with source as (
    select placed_row.*, known_word.aux_on, $interval_s::bigint as interval_s
    from placed_row
    left join known_word on placed_row.aux_text = known_word.word
),

ruled as (
    select
        *,
        case
            when fault is not null then 'cannot_be_read'
            when pump_id is null then 'pump_missing'
            when zone is null then 'pump_not_in_register'
            when clock_state = 'never' then 'hour_does_not_exist'
            when day_local is null or year(time_utc) not between 2000 and 2099 then 'time_out_of_range'
            when not coalesce(speed_rpm between 0 and $speed_most_rpm, true) then 'speed_out_of_range'
            when not coalesce(power_w between $power_least_w and $power_most_w, true) then 'power_out_of_range'
            when not coalesce(energy_total_kwh between 0 and 1e9, true)
                or not coalesce(run_total_h between 0 and 1e7, true)
                then 'counter_out_of_range'
            when not coalesce(flow_m3h between 0 and $flow_most_m3h, true) then 'flow_out_of_range'
            when aux_text is not null and aux_on is null then 'aux_word_unknown'
            when coalesce(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h) is null then 'nothing_measured'
        end as rule
    from source
),

repeated as (
    select
        *,
        row_number() over same_instant as nth,
        first_value(hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on)) over same_instant
            = hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on) as same_values
    from ruled
    window same_instant as (partition by rule is null, pump_id, time_utc order by line)
),

judged as (
    select
        pump_id,
        time_utc,
        day_local,
        interval_s,
        speed_rpm,
        power_w,
        energy_total_kwh,
        run_total_h,
        flow_m3h,
        aux_on,
        $export_id as export_id,
        line,
        case
            when rule = 'cannot_be_read' then 'rejects'
            when rule is not null then 'quarantine'
            when nth = 1 then 'readings'
            when same_values then 'duplicates'
            else 'quarantine'
        end as fate,
        case
            when rule is not null then rule
            when nth = 1 then null
            when same_values then 'same_row_again'
            else 'conflicting_repeat'
        end as rule,
        fault as reason,
        raw,
        clock_state
    from repeated
)

select * from judged
