-- Each site's local day as its readings left it: what the suite site_days judges.
-- Grain: site, local day. Inputs: span (columns of spans); pump_day (site_id, pump_id, day_local, day_min).
-- Parameters: $running_rpm, a pump at or above this speed turns for certain.
-- Output: site_day ('site_id day_local'), site_id, day_local, pumps, readings, accounted_share (minutes in spans /
--   minutes in the day),
--   coverage (least of the pumps), longest_gap_min [min], speed_most_rpm [rev/min], running_power_w (least median of
--   the pumps) [W].
with source as (
    select span.*, pump_day.day_min from span join pump_day using (site_id, pump_id, day_local)
),

of_pump as (
    select
        site_id,
        pump_id,
        day_local,
        any_value(day_min) as day_min,
        sum(readings) as readings,
        sum(duration_min) as accounted_min,
        coalesce(sum(duration_min) filter (where kind <> 'unknown'), 0) as observed_min,
        coalesce(max(duration_min) filter (where kind = 'unknown'), 0) as longest_gap_min,
        max(speed_rpm) as speed_most_rpm,
        median(power_w) filter (where speed_rpm >= $running_rpm) as running_power_w
    from source
    group by all
),

site_days as (
    select
        site_id || ' ' || day_local as site_day,
        site_id,
        day_local,
        count(*) as pumps,
        sum(readings)::bigint as readings,
        sum(accounted_min) / sum(day_min) as accounted_share,
        min(observed_min / day_min) as coverage,
        max(longest_gap_min) as longest_gap_min,
        max(speed_most_rpm) as speed_most_rpm,
        min(running_power_w) as running_power_w
    from of_pump
    group by site_id, day_local
    order by site_id, day_local
)

select * from site_days
