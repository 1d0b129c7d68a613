-- Readings joined into stretches of one speed.
-- Grain: stretch of one pump. Inputs: ordered (a table written in the order of pump_id and time_utc).
-- Parameters: $same_speed_rpm, largest step between readings of one stretch; $same_power_share, $same_power_w, a change
--   of power at one speed that is greater by both (lesser over greater, and [W]) ends a stretch: a pump that loses its
--   water does so within minutes, and a mean over the whole period would hide it.
-- Output: pump_id, start_utc, end_utc, is_on (null not known), speed_rpm [rev/min] (null not logged), energy_kwh [kWh]
--   (null not metered), from_power (energy from logged power, else from a counter), flow_m3h [m3/h], aux_on, readings.
-- Real time is integrated: each reading stands until the next, or for one sample interval where the next is further off
--   than the gap limit,
-- or where samples between the two are lost and the speed changed meanwhile: when it changed was not seen, so that time
--   is unknown.
-- A sample caught while the speed changes, alone between the speed before and one that then stays, stands for the new
--   speed: a ramp takes seconds, and held for the whole interval it would be wrong by up to that much time. After a
--   standstill it may as well be priming, and stays.
-- Power is held; counters are differenced between neighbours, and a counter that falls gives no energy.
-- Windows without a partition walk along the table as it was written; a neighbour of another pump is no neighbour.
-- Sums are of whole numbers (nanowatt seconds, micro-rpm milliseconds), which add up the same in any order and so give
--   the same bytes.
with source as (
    select
        *,
        lead(pump_id) over () is not distinct from pump_id as has_next,
        lag(pump_id) over () is not distinct from pump_id as has_previous,
        lead(time_utc) over () as following_utc,
        lead(is_on) over () as following_on,
        lead(speed_rpm) over () as following_rpm,
        lead(power_w) over () as following_w,
        lead(flow_m3h) over () as following_m3h,
        lead(energy_total_kwh) over () as following_kwh,
        lead(pump_id, 2) over () is not distinct from pump_id as has_second,
        lead(speed_rpm, 2) over () as second_rpm,
        lag(time_utc) over () as previous_utc,
        lag(is_on) over () as previous_on,
        lag(speed_rpm) over () as previous_rpm,
        lag(power_w) over () as previous_w,
        lag(energy_total_kwh) over () as previous_kwh,
        lag(aux_on) over () as previous_aux,
        lag(day_local) over () as previous_day,
        lag(coalesce(interval_s, gap_limit_s)) over () as previous_limit_s
    from ordered
),

ramps as (
    select
        *,
        coalesce(
            interval_s is null and hold_s > 0 and has_previous and has_second and previous_rpm > 0
            and (speed_rpm - previous_rpm) * (following_rpm - speed_rpm) > 0
            and least(abs(speed_rpm - previous_rpm), abs(following_rpm - speed_rpm)) > $same_speed_rpm
            and abs(second_rpm - following_rpm) <= $same_speed_rpm
            and following_utc - previous_utc < to_seconds(3 * hold_s), false
        ) as on_ramp
    from source
),

behind_ramps as (
    select *, coalesce(lag(on_ramp) over () and has_previous, false) as previous_on_ramp from ramps
),

settled as (
    select
        * replace (
            if(on_ramp, following_on, is_on) as is_on,
            if(on_ramp, following_rpm, speed_rpm) as speed_rpm,
            if(on_ramp and power_w is not null, coalesce(following_w, power_w), power_w) as power_w,
            if(on_ramp and flow_m3h is not null, coalesce(following_m3h, flow_m3h), flow_m3h) as flow_m3h,
            if(previous_on_ramp, is_on, previous_on) as previous_on,
            if(previous_on_ramp, speed_rpm, previous_rpm) as previous_rpm,
            if(previous_on_ramp and previous_w is not null, coalesce(power_w, previous_w), previous_w) as previous_w
        )
    from behind_ramps
),

neighboured as (
    select
        *,
        if(has_next, following_utc, null) as next_utc,
        coalesce(abs(following_rpm - speed_rpm) > $same_speed_rpm, false) or following_on is distinct from is_on as changes,
        power_w is not null or coalesce(
            has_next and following_kwh >= energy_total_kwh and following_utc <= time_utc + to_seconds(gap_limit_s), false
        ) as metered,
        previous_w is not null or coalesce(energy_total_kwh >= previous_kwh, false) as previous_metered
    from settled
),

held as (
    select
        *,
        case
            when next_utc is null then time_utc + to_seconds(coalesce(interval_s, hold_s))
            when interval_s is not null then least(time_utc + to_seconds(interval_s), next_utc)
            when next_utc > time_utc + to_seconds(gap_limit_s) then time_utc + to_seconds(hold_s)
            when hold_s > 0 and changes and next_utc > time_utc + to_seconds(1.5 * hold_s) then time_utc + to_seconds(hold_s)
            else next_utc
        end as until_utc,
        not has_previous
            or time_utc > previous_utc + to_seconds(previous_limit_s)
            or is_on is distinct from previous_on
            or coalesce(abs(speed_rpm - previous_rpm) > $same_speed_rpm, (speed_rpm is null) <> (previous_rpm is null))
            or aux_on is distinct from previous_aux
            or coalesce(
                abs(power_w - previous_w) > $same_power_w
                and least(power_w, previous_w) < $same_power_share * greatest(power_w, previous_w), false
            )
            or metered <> previous_metered  -- a stretch is metered from end to end or not at all
            or day_local <> previous_day
            or is_apart as begins
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
            when metered then ((following_kwh - energy_total_kwh) * 3.6e15)::bigint
        end as nano_ws,
        sum(begins::int) over (rows between unbounded preceding and current row) as stretch
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
