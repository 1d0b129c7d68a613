-- C11, override every day: the same override on most days of the week, begun at about the same time of day.
-- grain: one pump. inputs: span, judged_day, excused_day, profile, clock_match, pump.
-- parameters: $same_rpm, overrides this close in speed are the same [rev/min], $spread_min of the starts, middle half
--   [min], $days (of the week), $regular_min, starts whose middle half lies this close together are a keyed period's, and
--   no hand's [min], $freeze_rpm, so near the speed keyed in for freeze protection it may be that, on cool evenings or by
--   a sensor that reads cold [rev/min].
-- columns: those of EVIDENCE that it fills.
-- An override that goes on over midnight or a change of the plan is one. Times are of the wall clock, on a circle. A pump
--   whose clock is told to be wrong is left to the rules of the clock.
with overridden as (
    select s.site_id, s.pump_id, s.day_local, s.start_utc, s.end_utc, s.start_min, s.duration_min, s.speed_rpm,
        coalesce(s.start_utc > lag(s.end_utc) over of_pump or abs(s.speed_rpm - lag(s.speed_rpm) over of_pump) > $same_rpm, true)
            as begins
    from span as s
    join judged_day as j on j.day_local = s.day_local and j.in_week
    anti join excused_day as x on x.pump_id = s.pump_id and x.day_local = s.day_local
    where s.cause = 'override'
    window of_pump as (partition by s.pump_id order by s.start_utc)
),
numbered as (
    select *, sum(begins::int) over (partition by pump_id order by start_utc) as episode
    from overridden
),
episodes as (
    select site_id, pump_id, episode, arg_min(day_local, start_utc) as day_local, arg_min(start_min, start_utc) as start_min,
        arg_min(speed_rpm, start_utc) as speed_rpm, sum(duration_min order by start_utc) as length_min
    from numbered
    group by site_id, pump_id, episode
),
-- the speed that most days have
likeness as (
    select a.pump_id, a.episode, a.speed_rpm, count(distinct b.day_local) as days
    from episodes as a
    join episodes as b on b.pump_id = a.pump_id and abs(b.speed_rpm - a.speed_rpm) <= $same_rpm
    group by a.pump_id, a.episode, a.speed_rpm
),
habit_speed as (
    select pump_id, arg_max(speed_rpm, (days, -episode)) as speed_rpm
    from likeness
    group by pump_id
),
-- one a day, the longest
daily_one as (
    select e.site_id, e.pump_id, e.day_local, arg_max(e.start_min, (e.length_min, -e.episode)) as start_min,
        max(e.length_min) as length_min, any_value(h.speed_rpm) as speed_rpm
    from episodes as e
    join habit_speed as h on h.pump_id = e.pump_id and abs(e.speed_rpm - h.speed_rpm) <= $same_rpm
    group by e.site_id, e.pump_id, e.day_local
),
clocked as (
    select o.*,
        60 * p.clock_local[1:2]::int + p.clock_local[4:5]::int + o.start_min - 15 * p.quarter as clock_min,
        2 * pi() * clock_min / 1440 as angle
    from daily_one as o
    join profile as p on p.pump_id = o.pump_id and p.day_local = o.day_local and p.quarter = floor(o.start_min / 15)
),
centred as (
    select *,
        (1440 + 1440 / (2 * pi()) * atan2(sum(sin(angle) order by day_local) over of_pump, sum(cos(angle) order by day_local) over of_pump)) % 1440
            as centre_min
    from clocked
    window of_pump as (partition by pump_id)
),
spread as (
    select *, (clock_min - centre_min + 2160) % 1440 - 720 as off_min
    from centred
),
habits as (
    select site_id, pump_id, count(*) as days, min(day_local) as first_day, max(day_local) as last_day,
        quantile_cont(off_min, 0.75) - quantile_cont(off_min, 0.25) as spread_min,
        any_value(speed_rpm) as speed_rpm, median(length_min) / 60 as length_h,
        cast(round((any_value(centre_min) + median(off_min)) / 5) * 5 as bigint) % 1440 as usual_min
    from spread
    group by site_id, pump_id
    having count(*) >= $days and spread_min <= $spread_min
),
evidence as (
    select h.site_id, h.pump_id as component,
        case when m.verdict in ('ambiguous', 'whole source shifted') or h.spread_min <= $regular_min
                or abs(h.speed_rpm - p.freeze_speed_rpm) <= $freeze_rpm then 'cannot tell'
            else 'found' end as verdict,
        case when m.verdict in ('ambiguous', 'whole source shifted')
            then 'the pump''s clock or its export''s time base first: what looks like the same override each day may be the plan '
                || 'at another time'
            when h.spread_min <= $regular_min
            then 'the plan that is really keyed in: what runs off the record starts as regularly as a keyed period, on '
                || h.days || ' days'
            when abs(h.speed_rpm - p.freeze_speed_rpm) <= $freeze_rpm
            then format('a look at the sensor of freeze protection: what runs off the plan on {} days has the speed keyed in for '
                || 'it', h.days) end as needs,
        h.first_day, h.last_day, h.days, h.spread_min as measured, $spread_min::double as threshold, 'min' as unit,
        format('about {:.0f} rpm from about {:02d}:{:02d} for {:.1f} h.', h.speed_rpm, h.usual_min // 60, h.usual_min % 60, h.length_h)
            as extra
    from habits as h
    left join clock_match as m on m.pump_id = h.pump_id
    join pump as p on p.pump_id = h.pump_id
    where coalesce(m.verdict <> 'shifted', true)
)
select * from evidence order by site_id, component
