-- B11: pumps whose meter reads half or double what their visits, or else their kin of the same curve, draw.
-- Grain: pump; pumps that fit as well. Inputs: speed_level; power_reference; pump (pump_id, curve).
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $readings, fewest readings of a level's day;
--   $log2_limit, how far log2 of the ratio may lie from -1 or 1; $speeds, fewest speeds compared; $share, of the
--   compared days and speeds since the first odd day.
-- Output: pump_id; basis (visits or kin); suspect; ratio (median of the odd ones); factor (what cures it, 2 or 0.5);
--   speeds, odd_n, compared_n (days and speeds); first_day, last_day; fits_before.
-- Between known speeds power is taken along a straight line of logarithms; nothing is said outside them. Visits at
--   enough speeds of its own decide alone.
with source as (
    select pump_id, day_local, level_rpm, speed_rpm, power_w
    from speed_level
    where level_rpm >= $running_rpm and power_n >= $readings and power_w > 0
),

against_visits as (
    select source.*, basis, from_rpm, to_rpm, from_w, to_w
    from source join power_reference as reference using (pump_id)
    where speed_rpm >= from_rpm * 0.99 and speed_rpm < to_rpm * 1.01
),

against_kin as (
    select source.*, basis, from_rpm, to_rpm, from_w, to_w
    from source join pump using (pump_id) join power_reference as reference using (curve)
    where speed_rpm >= from_rpm and speed_rpm < to_rpm
),

referred as (
    select * from against_visits
    union all
    select * from against_kin
),

compared as (
    select
        pump_id,
        day_local,
        level_rpm,
        basis,
        log2(power_w / (from_w * (to_w / from_w) ^ (ln(speed_rpm / from_rpm) / ln(to_rpm / from_rpm)))) as log2_ratio
    from referred
    qualify row_number() over (partition by pump_id, day_local, level_rpm, basis order by from_rpm) = 1
),

visited as (
    select distinct pump_id from compared where basis = 'visits'
),

decided as (
    select * from compared where basis = 'visits' or pump_id not in (select pump_id from visited)
),

signed as (
    select
        *,
        case
            when abs(log2_ratio + 1) <= $log2_limit then 2::double
            when abs(log2_ratio - 1) <= $log2_limit then 0.5::double
        end as factor
    from decided
),

begun as (
    select *, min(day_local) filter (where factor is not null) over (partition by pump_id) as first_day from signed
),

counted as (
    select
        pump_id,
        basis,
        first_day,
        max(day_local) filter (where factor is not null) as last_day,
        coalesce(bool_or(factor is null and abs(log2_ratio) < 0.5 and day_local < first_day), false) as fits_before,
        mode(factor) filter (where factor is not null) as factor,
        count(distinct factor) as factors,
        2 ^ (median(log2_ratio) filter (where factor is not null)) as ratio,
        count(distinct level_rpm) filter (where factor is not null) as speeds,
        count(*) filter (where factor is not null) as odd_n,
        count(*) filter (where day_local >= first_day) as compared_n
    from begun
    group by pump_id, basis, first_day
),

half_double as (
    select
        * exclude (factors),
        coalesce(factors = 1 and speeds >= $speeds and odd_n >= $share * compared_n, false) as suspect
    from counted
    order by pump_id
)

select * from half_double
