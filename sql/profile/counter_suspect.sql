-- Counters that fall somewhere, or rise faster than they can: only these are walked along reading by reading.
-- Grain: pump, counter. Inputs: counter_hour; counter_grain. Parameters: $catch_up, a rate above so many times the
--   usual one is no rate. Output: pump_id, counter.
with neighboured as (
    select
        *,
        lag(first_value) over hours as previous_first,
        lag(last_value) over hours as previous_last,
        epoch_ms(first_utc) - epoch_ms(lag(first_utc) over hours) as step_ms
    from counter_hour
    window hours as (partition by pump_id, counter order by hour)
),

counter_suspect as (
    select distinct neighboured.pump_id, neighboured.counter
    from neighboured join counter_grain using (pump_id, counter)
    where first_value < previous_last
        or most_value > last_value
        or least_value < first_value
        or first_value - previous_first > usual_per_h * $catch_up * step_ms / 3_600_000 + 2 * resolution
)

select * from counter_suspect order by pump_id, counter
