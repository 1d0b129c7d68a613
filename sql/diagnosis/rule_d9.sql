-- D9, speed reported and no power drawn: the drive has tripped, or the meter is off.
-- grain: one pump. inputs: span, judged_day, unit_doubt, past_finding. parameters: $speed_rpm [rev/min], $margin_w (above the power at rest) [W],
--   $rest_w (power at rest where none is logged) [W], $least_w (less, and not nothing, is another unit) [W], $minutes (longest stretch) [min], $days (of the week).
-- columns: those of EVIDENCE that it fills.
-- Power at rest is that of the same day; of a day without rest that of the lowest day: speeds in another unit, or a load that
--   joined the meter, make a running pump look at rest on other days.
-- A pump without one running minute above that limit in all judged days may have a dead meter: then it cannot be told.
with at_rest as (
    select pump_id, day_local, median(power_w) as rest_w
    from span
    where kind = 'off' and power_w is not null
    group by pump_id, day_local
),
lowest_rest as (
    select pump_id, min(rest_w) as rest_w
    from at_rest
    group by pump_id
),
-- A channel that stood still while the speed changed, so lately, may do so again: then no current is no news.
stuck as (
    select distinct component as pump_id
    from past_finding
    where rule_id = 'B12' and verdict = 'found' and explained_by = ''
        and last_day >= (select min(day_local) - 7 from judged_day)
),
powered as (
    select s.site_id, s.pump_id, s.day_local, j.in_week, s.start_utc, s.end_utc, s.duration_min, s.speed_rpm, s.power_w,
        abs(s.power_w) <= coalesce(r.rest_w, l.rest_w, $rest_w) + $margin_w and (s.power_w = 0 or abs(s.power_w) >= $least_w)
            as dead
    from span as s
    join judged_day as j using (day_local)
    left join at_rest as r on r.pump_id = s.pump_id and r.day_local = s.day_local
    left join lowest_rest as l on l.pump_id = s.pump_id
    anti join unit_doubt as u on u.pump_id = s.pump_id and u.quantity = 'power'
    where s.kind = 'run' and s.speed_rpm > $speed_rpm and s.power_w is not null
),
ever as (
    select pump_id, bool_or(not dead) as drew
    from powered
    group by pump_id
),
marked as (
    select *, coalesce(start_utc > lag(end_utc) over (partition by pump_id order by start_utc), true) as begins
    from powered
    where dead
),
numbered as (
    select *, sum(begins::int) over (partition by pump_id order by start_utc) as stretch
    from marked
),
stretches as (
    select site_id, pump_id, stretch, min(day_local) as first_day, max(day_local) as last_day,
        list(distinct day_local) filter (in_week) as in_week_days, sum(duration_min order by start_utc) as stretch_min,
        max(speed_rpm) as speed_rpm, max(power_w) as power_w
    from numbered
    group by site_id, pump_id, stretch
),
counted as (
    select site_id, pump_id, min(first_day) as first_day, max(last_day) as last_day,
        len(list_distinct(flatten(list(in_week_days)))) as days, max(stretch_min) as longest_min,
        max(speed_rpm) as speed_rpm, max(power_w) as power_w
    from stretches
    where stretch_min >= $minutes and len(in_week_days) > 0
    group by site_id, pump_id
),
evidence as (
    select c.site_id, c.pump_id as component, case when e.drew and k.pump_id is null then 'found' else 'cannot tell' end
            as verdict,
        case
            when not e.drew
            then 'a look at the pump: a speed is reported and no running power on any day, so drive or meter is off'
            when k.pump_id is not null
            then 'a look at the meter: a speed is reported and no running power, and its power stood still lately'
        end as needs,
        c.first_day, c.last_day, c.days, c.longest_min as measured, $minutes::double as threshold, 'min' as unit,
        format('Up to {:.0f} rpm stood beside no more than {:.0f} W.', c.speed_rpm, c.power_w) as extra
    from counted as c
    join ever as e using (pump_id)
    left join stuck as k using (pump_id)
    where c.days >= $days
)
select * from evidence order by site_id, component
