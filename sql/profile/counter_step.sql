-- What a counter rose from one reading to the next, told apart from starting again, from being replaced, and from
--   what cannot be.
-- Grain: pump, counter, reading of it that has one before. Inputs: reading (columns of readings, one row a pump and
--   instant); counter_pump (pump_id, counter: the counters asked for); counter_grain; counter_rule.
-- Output: pump_id, counter, from_utc, to_utc, from_value, to_value, rise (null not known, never negative) [kWh or h],
--   from_rpm, to_rpm (null not logged) [rev/min], kind (plain, rollover, reset, impossible), backward (the later
--   reading stands earlier in its export).
-- A fall by one step of the resolution is jitter: it rises by nothing, and the next rise counts from where it was. A
--   fall is a rollover where the rise past the modulus is no faster than the counter ever rose, else a reset. A rise
--   that is faster is impossible. What rises in a reset or an impossible step is not known.
-- A counter without a rule never falls and never rises too fast.
with source as (
    select pump_id, 'energy_total' as counter, time_utc, energy_total_kwh as value, speed_rpm, export_id, line
    from reading
    where energy_total_kwh is not null
    union all
    select pump_id, 'run_total', time_utc, run_total_h, speed_rpm, export_id, line
    from reading
    where run_total_h is not null
),

neighboured as (
    select
        source.*,
        counter_grain.resolution,
        counter_rule.most_per_h,
        counter_rule.modulus,
        lag(time_utc) over readings as previous_utc,
        lag(value) over readings as previous_value,
        lag(value, 2) over readings as earlier_value,
        lag(speed_rpm) over readings as previous_rpm,
        lag(export_id) over readings = export_id and lag(line) over readings > line as backward
    from source
    semi join counter_pump using (pump_id, counter)
    join counter_grain using (pump_id, counter)
    left join counter_rule using (pump_id, counter)
    window readings as (partition by source.pump_id, source.counter order by time_utc)
),

levelled as (
    select
        *,
        if(earlier_value - previous_value between 0 and 1.5 * resolution, earlier_value, previous_value) as from_value,
        coalesce(
            most_per_h * (epoch_ms(time_utc) - epoch_ms(previous_utc)) / 3_600_000 + 2 * resolution, 'infinity'::double
        ) as most_rise
    from neighboured
    where previous_utc is not null
),

judged as (
    select
        *,
        case
            when value >= from_value and value - from_value > most_rise then 'impossible'
            when value >= from_value - 1.5 * resolution then 'plain'
            when value + modulus - from_value between 0 and most_rise then 'rollover'
            else 'reset'
        end as kind
    from levelled
),

counter_step as (
    select
        pump_id,
        counter,
        previous_utc as from_utc,
        time_utc as to_utc,
        previous_value as from_value,
        value as to_value,
        case kind
            when 'plain' then greatest(value - from_value, 0)
            when 'rollover' then value + modulus - from_value
        end as rise,
        previous_rpm as from_rpm,
        speed_rpm as to_rpm,
        kind,
        backward
    from judged
)

select * from counter_step order by pump_id, counter, to_utc
