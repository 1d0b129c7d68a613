-- Pumps whose readings stand in a band that their quantity cannot have, with the ratio to what the register expects.
-- grain: one pump and quantity. inputs: span, pump, visit, verdict (a person who refused B4 said that the
--   readings are right). parameters: $running_rpm (above it a pump draws watts),
--   $least_running_w [W], $most_percent_rpm [rpm].
-- columns: site_id, pump_id, quantity (power or speed), measured, threshold, unit, ratio (expected / measured, null
--   where the register holds nothing to compare with), doubt (one sentence), first_day, last_day, days.
with running as (
    select site_id, pump_id, day_local, speed_rpm, power_w
    from span
    where kind = 'run' and speed_rpm > 0
),
expected as (
    select p.pump_id, coalesce(median(v.power_w), any_value(p.baseline_power_w)) as power_w,
        any_value(p.full_speed_rpm) as speed_rpm
    from pump as p
    left join visit as v on v.pump_id = p.pump_id and v.power_w is not null
    group by p.pump_id
),
small_power as (
    select r.site_id, r.pump_id, 'power' as quantity, median(r.power_w) as measured, $least_running_w as threshold, 'W'
        as unit,
        any_value(e.power_w) as expected, min(r.day_local) as first_day, max(r.day_local) as last_day,
            count(distinct r.day_local) as days
    from running as r
    join expected as e using (pump_id)
    where r.speed_rpm > $running_rpm and r.power_w is not null
    group by r.site_id, r.pump_id
    having median(r.power_w) < $least_running_w and median(r.power_w) > 0
),
small_speed as (
    select r.site_id, r.pump_id, 'speed' as quantity, max(r.speed_rpm) as measured, $most_percent_rpm as threshold,
        'rpm' as unit,
        any_value(e.speed_rpm) as expected, min(r.day_local) as first_day, max(r.day_local) as last_day,
            count(distinct r.day_local) as days
    from running as r
    join expected as e using (pump_id)
    group by r.site_id, r.pump_id
    having max(r.speed_rpm) <= $most_percent_rpm
),
both_quantities as (
    from small_power
    union all
    from small_speed
),
unit_doubt as (
    select site_id, pump_id, quantity, measured, threshold, unit, expected / measured as ratio,
        case quantity
            when 'power'
                then format('While running it is said to draw {:.2f} W: the power column looks like kW.', measured)
            else format('While running it is said to turn at {:.0f} rpm at most: '
                || 'the speed column looks like percent or Hz.', measured)
        end as doubt,
        first_day, last_day, days
    from both_quantities
    where not exists (
        from verdict
        where verdict.mode = 'B4' and verdict.state = 'refused' and verdict.quantity = both_quantities.quantity
            and verdict.pump_id in (both_quantities.pump_id, '')
            and (verdict.pump_id <> '' or verdict.source in (
                select source from pump_source where pump_source.pump_id = both_quantities.pump_id
            ))
    )
    order by pump_id, quantity
)
select * from unit_doubt
