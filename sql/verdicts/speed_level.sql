-- What each pump drew and moved at each speed on each day: one pass over the readings, for all modes that look at values.
-- Grain: pump, local day, speed level. Inputs: reading (columns of readings).
-- Parameters: $level_rpm, width of a level [rev/min].
-- Output: pump_id, day_local, level_rpm (middle of the level; null not logged), readings, speed_rpm (mean), speed_rpm_hi
--   [rev/min];
--   power_n, power_w (mean), power_w_lo, power_w_hi [W], negative_n, positive_n (readings of power below and above 0);
--   flow_n, flow_m3h (mean).
-- Means are of sums of whole numbers, which add up the same in any order.
with source as (
    select
        pump_id,
        day_local,
        (round(speed_rpm / $level_rpm) * $level_rpm)::int as level_rpm,
        speed_rpm,
        power_w,
        flow_m3h
    from reading
),

speed_level as (
    select
        pump_id,
        day_local,
        level_rpm,
        count(*) as readings,
        sum((speed_rpm * 1e6)::bigint) / count(speed_rpm) / 1e6 as speed_rpm,
        max(speed_rpm) as speed_rpm_hi,
        count(power_w) as power_n,
        sum((power_w * 1e6)::bigint) / count(power_w) / 1e6 as power_w,
        min(power_w) as power_w_lo,
        max(power_w) as power_w_hi,
        count(*) filter (where power_w < 0) as negative_n,
        count(*) filter (where power_w > 0) as positive_n,
        count(flow_m3h) as flow_n,
        sum((flow_m3h * 1e6)::bigint) / count(flow_m3h) / 1e6 as flow_m3h
    from source
    group by pump_id, day_local, level_rpm
)

select * from speed_level
