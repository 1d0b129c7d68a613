-- Readings reduced to quarter hours of each pump's local day: what the verdicts on identity and clocks look at.
-- Grain: pump, local day, quarter of an hour with readings or a state that stands. Inputs: reading (columns of
--   readings, one row a pump and instant); export_hold (export_id, hold_s, gap_limit_s); pump; site (zone);
--   pump_source (pump_id, source); quarter (zone, day_local, quarter, start_utc).
-- Parameters: $off_below_rpm, a slower shaft stands.
-- Output: pump_id, source, zone, day_local, quarter, start_utc, speed_rpm (mean, off counted as 0; null not logged)
--   [rev/min], power_w (mean; null not logged) [W].
-- Samples up to a quarter hour apart are spread evenly over the quarter, so their plain mean needs no neighbours. A
--   longer interval, and a change of state, stands over several quarters by real time; such logs have few rows.
-- Sums are of whole numbers (millirpm, milliwatts), which add up the same in any order.
with short as (
    select
        reading.pump_id,
        epoch_us(reading.time_utc) // 900_000_000 as slot,
        sum((if(speed_rpm >= $off_below_rpm, speed_rpm, 0) * 1000)::bigint)
            / nullif(count(speed_rpm), 0) / 1000 as speed_rpm,
        sum((power_w * 1000)::bigint) / nullif(count(power_w), 0) / 1000 as power_w
    from reading join export_hold using (export_id)
    where coalesce(reading.interval_s, export_hold.hold_s) between 1 and 900
    group by all
),

standing as (
    select
        reading.pump_id,
        time_utc,
        speed_rpm,
        power_w,
        interval_s,
        hold_s,
        gap_limit_s,
        lead(time_utc) over (partition by reading.pump_id order by time_utc) as next_utc
    from reading join export_hold using (export_id)
    where coalesce(reading.interval_s, export_hold.hold_s) not between 1 and 900
),

bounded as (
    select
        *,
        case
            when interval_s is not null then least(time_utc + to_seconds(interval_s), next_utc)
            when next_utc <= time_utc + to_seconds(gap_limit_s) then next_utc
            else time_utc + to_seconds(hold_s)
        end as until_utc
    from standing
),

touched as (
    select
        *,
        unnest(range(epoch_us(time_utc) // 900_000_000, (epoch_us(until_utc) + 899_999_999) // 900_000_000)) as slot
    from bounded
),

share as (
    select
        *,
        least(epoch_us(until_utc), (slot + 1) * 900_000_000)
            - greatest(epoch_us(time_utc), slot * 900_000_000) as held_us
    from touched
),

long as (
    select
        pump_id,
        slot,
        sum((if(speed_rpm >= $off_below_rpm, speed_rpm, 0) * 1000)::bigint * held_us)
            / sum(held_us) filter (where speed_rpm is not null) / 1000 as speed_rpm,
        sum((power_w * 1000)::bigint * held_us) / sum(held_us) filter (where power_w is not null) / 1000 as power_w
    from share
    where held_us > 0
    group by all
),

reduced as (
    select * from short
    union all by name
    select * from long anti join short using (pump_id, slot)
),

pump_quarter as (
    select
        reduced.pump_id,
        pump_source.source,
        quarter.zone,
        quarter.day_local,
        quarter.quarter,
        quarter.start_utc,
        reduced.speed_rpm,
        reduced.power_w
    from reduced
    join pump using (pump_id)
    join site using (site_id)
    join pump_source using (pump_id)
    join quarter on site.zone = quarter.zone and reduced.slot = epoch_us(quarter.start_utc) // 900_000_000
)

select * from pump_quarter
