-- B11: pumps whose meter reads half or double of what it read itself on the days before, at rest as well as running.
-- Grain: pump; pumps that fit as well. Inputs: speed_level.
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $own_readings, fewest readings of a level's day: a log of changes has few;
--   $own_days, first days at a speed that say what was usual; $log2_limit, how far log2 of the ratio may lie from -1 or 1;
--   $rest_log2, least log2 by which the power at rest moved the same way; $share, of the compared days and speeds since the
--   first odd day.
-- Output: as half_double, with the basis own.
-- No pump takes twice the power at one speed from one day to the next, and a shut valve or air, which may halve it, leave
--   the power at rest alone: only a meter moves both. A pump that never rests is not judged.
with source as (
    select pump_id, day_local, level_rpm, coalesce(nullif(speed_rpm, 0), 1) as speed_rpm, power_w
    from speed_level
    where (level_rpm >= $running_rpm or level_rpm = 0) and power_n >= $own_readings and power_w > 0
),

placed as (
    select *, row_number() over (partition by pump_id, level_rpm order by day_local) as place from source
),

usual as (
    select pump_id, level_rpm, median(power_w) as usual_w, median(speed_rpm) as usual_rpm
    from placed
    where place <= $own_days
    group by pump_id, level_rpm
    having count(*) = $own_days
),

compared as (
    select placed.pump_id, day_local, level_rpm, log2(power_w / (usual_w * (speed_rpm / usual_rpm) ^ 3)) as log2_ratio
    from placed join usual using (pump_id, level_rpm)
    where place > $own_days
),

rested as (
    select pump_id, day_local, log2_ratio as rest_log2 from compared where level_rpm = 0
),

signed as (
    select
        compared.*,
        case
            when abs(log2_ratio + 1) <= $log2_limit and rest_log2 <= -$rest_log2 then 2::double
            when abs(log2_ratio - 1) <= $log2_limit and rest_log2 >= $rest_log2 then 0.5::double
        end as factor
    from compared join rested using (pump_id, day_local)
    where level_rpm > 0
),

begun as (
    select
        *,
        min(day_local) filter (where factor is not null) over (partition by pump_id) as first_day,
        max(day_local) filter (where factor is not null) over (partition by pump_id) as last_day
    from signed
),

counted as (
    select
        pump_id,
        'own' as basis,
        first_day,
        last_day,
        true as fits_before,
        mode(factor) filter (where factor is not null) as factor,
        count(distinct factor) as factors,
        2 ^ (median(log2_ratio) filter (where factor is not null)) as ratio,
        count(distinct level_rpm) filter (where factor is not null) as speeds,
        count(distinct day_local) filter (where factor is not null) as odd_days,
        count(*) filter (where factor is not null) as odd_n,
        count(*) filter (where day_local between first_day and last_day) as compared_n
    from begun
    group by pump_id, first_day, last_day
),

own_step as (
    select
        * exclude (factors, odd_days),
        coalesce(factors = 1 and odd_days >= $own_days and odd_n >= $share * compared_n, false) as suspect
    from counted
    order by pump_id
)

select * from own_step
