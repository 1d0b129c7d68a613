-- The fate of each row within its export: reading, duplicate, quarantine or reject, and the rule that decided.
-- Grain: one data row of one export. Inputs: ruled_row.
-- Parameters: none.
-- Output: the columns of readings; fate; rule (null for a reading); reason (what a reject cannot be read by); raw;
--   clock_state.
-- Two rows of one pump at one instant: the first stands; the same values again are a duplicate, other values a
--   conflict.
with source as (
    select * from ruled_row
),

repeated as (
    select
        *,
        row_number() over same_instant as nth,
        first_value(hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on, air_temperature_c)) over same_instant
            = hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on, air_temperature_c) as same_values
    from source
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
        air_temperature_c,
        export_id,
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
