-- B11: stretches between neighbouring speeds at which a pump's wire power is known, from its visits and from its kin.
-- Grain: pump, basis, stretch of speed. Inputs: speed_level; visit (pump_id, speed_rpm, power_w); pump (pump_id, curve).
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $readings, fewest readings of a level's day;
--   $kin, fewest pumps of one curve at one level, the pump itself included.
-- Output: pump_id (null: every pump of the curve), curve (null: this pump), basis (visits or kin), from_rpm, to_rpm
--   [rev/min], from_w, to_w [W].
-- The power of kin is the median at each speed level, so that less than half of wrong meters do not move it.
with source as (
    select pump_id, level_rpm, power_w * (level_rpm / speed_rpm) ^ 3 as power_w
    from speed_level
    where level_rpm >= $running_rpm and power_n >= $readings and power_w > 0
),

of_pump as (
    select pump.curve, source.pump_id, source.level_rpm, median(source.power_w) as power_w
    from source join pump using (pump_id)
    where pump.curve is not null
    group by all
),

point as (
    select pump_id, null as curve, 'visits' as basis, speed_rpm, median(power_w) as power_w
    from visit
    where speed_rpm > 0 and power_w > 0
    group by pump_id, speed_rpm
    union all
    select null, curve, 'kin', level_rpm, median(power_w) from of_pump group by curve, level_rpm having count(*) >= $kin
),

followed as (
    select
        pump_id,
        curve,
        basis,
        speed_rpm as from_rpm,
        power_w as from_w,
        lead(speed_rpm) over along as to_rpm,
        lead(power_w) over along as to_w
    from point
    window along as (partition by pump_id, curve, basis order by speed_rpm)
),

power_reference as (
    select pump_id, curve, basis, from_rpm, to_rpm, from_w, to_w from followed where to_rpm is not null
)

select * from power_reference
