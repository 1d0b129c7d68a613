-- B10: the sign of power while a pump runs.
-- Grain: pump; pumps with the right sign as well. Inputs: speed_level.
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $standby_w, without a logged speed a pump
--   that draws more, either way, runs [W]; $readings, fewest readings while running, or $days, fewest days of them (a log
--   of changes has a few a day); $share, of the readings since the first day with the wrong sign.
-- Output: pump_id; suspect; negative_n, running_n (readings since then); power_w, mean while running [W]; first_day,
--   last_day; fits_before, whether it ran with the right sign before.
with source as (
    select pump_id, day_local, negative_n, positive_n, power_w, power_n, coalesce(level_rpm, 0) as level_rpm
    from speed_level
    where level_rpm >= $running_rpm or (level_rpm is null and abs(power_w) > $standby_w)
),

of_day as (
    select
        pump_id,
        day_local,
        sum(negative_n) as negative_n,
        sum(negative_n + positive_n) as running_n,
        sum(power_w * power_n order by level_rpm) as power_sum,
        sum(power_n) as power_n
    from source
    group by pump_id, day_local
    having sum(negative_n + positive_n) > 0
),

begun as (
    select
        *,
        min(day_local) filter (where 2 * negative_n > running_n) over (partition by pump_id) as first_day
    from of_day
),

counted as (
    select
        pump_id,
        first_day,
        max(day_local) filter (where 2 * negative_n > running_n) as last_day,
        coalesce(bool_or(2 * negative_n <= running_n and day_local < first_day), false) as fits_before,
        count(*) filter (where 2 * negative_n > running_n) as negative_days,
        coalesce(sum(negative_n) filter (where day_local >= first_day), 0)::bigint as negative_n,
        coalesce(sum(running_n) filter (where day_local >= first_day), sum(running_n))::bigint as running_n,
        sum(power_sum order by day_local) filter (where day_local >= first_day)
            / sum(power_n) filter (where day_local >= first_day) as power_w
    from begun
    group by pump_id, first_day
),

meter_sign as (
    select * exclude (negative_days),
        negative_n >= $share * running_n and (negative_n >= $readings or negative_days >= $days) as suspect
    from counted
    order by pump_id
)

select * from meter_sign
