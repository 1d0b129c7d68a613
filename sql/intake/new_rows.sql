-- Readings of a staged export against readings that the lake already holds for the same pumps and instants.
-- Grain: one staged reading. Inputs: staged_reading, held_reading (both with the columns of readings).
-- Output: line; fate 'readings', 'duplicates' (same values held) or 'quarantine' (other values held).
with source as (
    select * from staged_reading
),

held as (
    select pump_id, time_utc, any_value(hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on))
        as held_values
    from held_reading
    group by pump_id, time_utc
),

new_rows as (
    select
        source.line,
        source.pump_id,
        case
            when held.held_values is null then 'readings'
            when held.held_values = hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, aux_on)
                then 'duplicates'
            else 'quarantine'
        end as fate
    from source
    left join held using (pump_id, time_utc)
    order by source.line
)

select * from new_rows
