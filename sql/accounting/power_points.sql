-- Wire power by speed, from what was metered: the points that a pump's power curve is fitted to.
-- Grain: one pump at one speed of the 25 rpm grid.
-- Inputs: span (tables.SPANS), pump_doubt (pump_id, doubt).
-- Parameters: $least_span_min shortest span that counts as steady [min];
--   $least_counter_kwh smallest sum of counter steps that carries a power [kWh], far above the counter's last digit;
--   $running_rpm slower is no speed that a pump holds, but a mean over an interval in which it started or stopped [rev/min].
-- Columns: pump_id; speed_rpm [rev/min]; power_w [W]: median of the spans' logged power, else by counter the energy of
--   all spans over their time; samples: readings behind it.
-- Priming is left out: a pump that still draws air shows too little power. A pump whose units are in doubt gives no
-- points.
with steady as (
    select
        pump_id,
        cast(round(speed_rpm / 25) * 25 as bigint) as speed_rpm,
        power_w,
        if(power_w is null, energy_kwh, null) as counter_kwh,
        epoch(end_utc - start_utc) as duration_s,
        readings
    from span
    where kind = 'run'
        and cause <> 'priming'
        and epoch(end_utc - start_utc) >= $least_span_min * 60
        and speed_rpm >= $running_rpm
        and pump_id not in (select pump_id from pump_doubt)
),
summed as (
    select
        pump_id,
        speed_rpm,
        median(power_w) as logged_w,
        -- Whole milliwatt hours add up the same in any order.
        sum(cast(counter_kwh * 1e6 as bigint)) / 1e6 as counter_kwh,
        sum(cast(duration_s * 1000 as bigint)) filter (counter_kwh is not null) / 3.6e6 as counter_h,
        cast(greatest(sum(readings) filter (power_w > 0 or counter_kwh is not null), 1) as bigint) as samples
    from steady
    group by pump_id, speed_rpm
),
points as (
    select
        pump_id,
        speed_rpm,
        case when logged_w is not null then logged_w when counter_kwh >= $least_counter_kwh then counter_kwh * 1000 / counter_h end
            as power_w,
        samples
    from summed
    where logged_w > 0 or (logged_w is null and counter_kwh >= $least_counter_kwh)
    order by pump_id, speed_rpm
)
select * from points
