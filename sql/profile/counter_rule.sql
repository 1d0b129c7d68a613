-- What a suspect counter can do: the fastest it rises, and the value at which it starts again from nothing.
-- Grain: pump, counter that is suspect. Inputs: reading (columns of readings, one row a pump and instant);
--   counter_pump (pump_id, counter: the suspects); counter_grain.
-- Parameters: $catch_up, a rate above so many times the usual one is no rate; $rate_share, a rise this much faster
--   than the fastest seen is still believed; $run_rate, fastest rise of a run-hour counter [h/h]; $turn_least, fewest
--   steps that a counter counts before it starts again; $turn_hours, longest time over which a fall is put down to
--   that [h].
-- Output: pump_id, counter, resolution, most_per_h (null where it never rose) [kWh/h or h/h], modulus (null where it
--   did not start again) [kWh or h].
-- Moduli tried, the least first: 2^16 and 2^32 times the resolution, and the powers of ten from 100 on, which are 10^k
--   times it. One explains a fall if the rise so implied is no faster than the counter ever rose.
with source as (
    select pump_id, 'energy_total' as counter, time_utc, energy_total_kwh as value
    from reading
    where energy_total_kwh is not null
    union all
    select pump_id, 'run_total', time_utc, run_total_h
    from reading
    where run_total_h is not null
),

neighboured as (
    select
        source.pump_id,
        source.counter,
        lag(value) over readings as previous_value,
        value,
        (epoch_ms(time_utc) - epoch_ms(lag(time_utc) over readings)) / 3_600_000 as step_h
    from source semi join counter_pump using (pump_id, counter)
    window readings as (partition by source.pump_id, source.counter order by time_utc)
),

limited as (
    select
        neighboured.pump_id,
        neighboured.counter,
        if(
            neighboured.counter = 'run_total',
            $run_rate,
            max((value - previous_value) / step_h) filter (
                where (value - previous_value) / step_h <= usual_per_h * $catch_up
            )
        ) * $rate_share as most_per_h
    from neighboured join counter_grain using (pump_id, counter)
    where value > previous_value
    group by neighboured.pump_id, neighboured.counter
),

turned as (
    select
        neighboured.*,
        counter_grain.resolution,
        limited.most_per_h,
        unnest(
            list_concat(
                [65_536 * counter_grain.resolution, 4_294_967_296 * counter_grain.resolution],
                list_transform(range(2, 10), lambda k: pow(10, k))
            )
        ) as modulus
    from neighboured
    join counter_grain using (pump_id, counter)
    join limited using (pump_id, counter)
    where previous_value - value > 1.5 * counter_grain.resolution and step_h <= $turn_hours
),

explained as (
    select pump_id, counter, min(modulus) as modulus
    from turned
    where modulus >= $turn_least * resolution
        and modulus > previous_value
        and value + modulus - previous_value <= most_per_h * step_h + 2 * resolution
    group by pump_id, counter
),

counter_rule as (
    select counter_pump.pump_id, counter_pump.counter, counter_grain.resolution, limited.most_per_h, explained.modulus
    from counter_pump
    join counter_grain using (pump_id, counter)
    left join limited using (pump_id, counter)
    left join explained using (pump_id, counter)
)

select * from counter_rule order by pump_id, counter
