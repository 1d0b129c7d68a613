-- Readings joined into stretches of one speed: the only query over every reading.
-- Grain: stretch of one pump. Inputs: reading (columns of readings, one row per pump and instant); export_hold (export_id, hold_s, gap_limit_s).
-- Parameters: $from_utc, $to_utc, the days asked for and a gap limit on either side; $off_below_rpm, a slower shaft stands;
--   $idle_w, a pump without logged speed or flow runs above this; $same_speed_rpm, largest step between readings of one stretch.
-- Output: pump_id, start_utc, end_utc, is_on (null not known), speed_rpm [rev/min] (null not logged), energy_kwh [kWh] (null not metered),
--   from_power (energy from logged power, else from a counter), flow_m3h [m3/h], aux_on, readings.
-- Real time is integrated: each reading stands until the next, or for one sample interval where the next is further off than the gap limit,
-- or where samples between the two are lost and the speed changed meanwhile: when it changed was not seen, so that time is unknown.
-- Power is held; counters are differenced between neighbours, and a counter that falls gives no energy.
-- Sums are of whole numbers (nanowatt seconds, micro-rpm milliseconds), which add up the same in any order and so give the same bytes.
with source as (
    select reading.*, export_hold.hold_s, export_hold.gap_limit_s
    from reading join export_hold using (export_id)
    where reading.time_utc between $from_utc and $to_utc
),

neighboured as (
    select
        *,
        coalesce(speed_rpm >= $off_below_rpm, flow_m3h > 0, power_w > $idle_w) as is_on,
        lead(time_utc) over of_pump as next_utc,
        lead(energy_total_kwh) over of_pump as next_total_kwh,
        lead(speed_rpm) over of_pump as next_rpm,
        lead(coalesce(speed_rpm >= $off_below_rpm, flow_m3h > 0, power_w > $idle_w)) over of_pump as next_on,
        lag(time_utc) over of_pump as previous_utc,
        lag(speed_rpm) over of_pump as previous_rpm,
        lag(coalesce(speed_rpm >= $off_below_rpm, flow_m3h > 0, power_w > $idle_w)) over of_pump as previous_on,
        lag(aux_on) over of_pump as previous_aux,
        lag(day_local) over of_pump as previous_day,
        lag(power_w) over of_pump as previous_w,
        lag(energy_total_kwh) over of_pump as previous_total_kwh,
        lag(coalesce(interval_s, gap_limit_s)) over of_pump as previous_limit_s
    from source
    window of_pump as (partition by pump_id order by time_utc)
),

held as (
    select
        *,
        case
            when interval_s is not null then least(time_utc + to_seconds(interval_s), coalesce(next_utc, time_utc + to_seconds(interval_s)))
            when next_utc > time_utc + to_seconds(gap_limit_s) then time_utc + to_seconds(hold_s)
            when hold_s > 0 and next_utc > time_utc + to_seconds(1.5 * hold_s)
                and (coalesce(abs(next_rpm - speed_rpm) > $same_speed_rpm, false) or next_on is distinct from is_on)
                then time_utc + to_seconds(hold_s)
            else coalesce(next_utc, time_utc + to_seconds(hold_s))
        end as until_utc,
        power_w is not null
            or coalesce(next_total_kwh >= energy_total_kwh and next_utc <= time_utc + to_seconds(gap_limit_s), false) as metered,
        previous_utc is null
            or time_utc > previous_utc + to_seconds(previous_limit_s)
            -- a stretch is metered from end to end or not at all
            or (power_w is not null or coalesce(next_total_kwh >= energy_total_kwh and next_utc <= time_utc + to_seconds(gap_limit_s), false))
                is distinct from (previous_w is not null or coalesce(energy_total_kwh >= previous_total_kwh, false))
            or is_on is distinct from previous_on
            or coalesce(abs(speed_rpm - previous_rpm) > $same_speed_rpm, (speed_rpm is null) <> (previous_rpm is null))
            or aux_on is distinct from previous_aux
            or day_local <> previous_day as begins
    from neighboured
),

counted as (
    select
        pump_id,
        time_utc,
        until_utc,
        is_on,
        aux_on,
        power_w is not null as from_power,
        date_diff('millisecond', time_utc, until_utc) as held_ms,
        (speed_rpm * 1e6)::bigint as micro_rpm,
        (flow_m3h * 1e9)::bigint as nano_m3h,
        case
            when power_w is not null then (power_w * 1e6)::bigint * date_diff('millisecond', time_utc, until_utc)
            when metered then ((next_total_kwh - energy_total_kwh) * 3.6e15)::bigint
        end as nano_ws,
        sum(begins::int) over (partition by pump_id order by time_utc) as stretch
    from held
),

steady as (
    select
        pump_id,
        min(time_utc) as start_utc,
        max(until_utc) as end_utc,
        any_value(is_on) as is_on,
        coalesce(
            sum(micro_rpm * held_ms) / nullif(sum(held_ms) filter (where micro_rpm is not null), 0), sum(micro_rpm) / count(micro_rpm)
        ) / 1e6 as speed_rpm,
        sum(nano_ws) / 3.6e15 as energy_kwh,
        bool_and(from_power) as from_power,
        sum(nano_m3h * held_ms) / nullif(sum(held_ms) filter (where nano_m3h is not null), 0) / 1e9 as flow_m3h,
        any_value(aux_on) as aux_on,
        count(*) as readings
    from counted
    group by pump_id, stretch
)

select * from steady
