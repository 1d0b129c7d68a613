-- D10, speed sags in the heat: within one planned speed the pump keeps to it in cool hours and falls short in hot ones.
-- grain: one pump. inputs: profile, reading, judged_day, local_day, pump_fact, weather, excused_day.
-- parameters: $short_rpm (least shortfall) [rev/min], $most_share (of the planned speed: more is another step, not a
--   sag), $at_plan_rpm (this near is at the plan) [rev/min], $minutes (of a day, short) [min], $days (of the week),
--   $hot_c (middle air temperature of the short hours) [deg C], $warmer_c (than the hours at the plan) [deg C],
--   $correlation (of shortfall with air temperature), $follows (the same where no hour is at the plan),
--   $between_min (of the week, on the way there: short by at most four fifths of the usual shortfall) [min].
--   $hint_rpm (a pump whose quarter hours fall short by so much is looked at by its readings) [rev/min].
-- columns: those of EVIDENCE that it fills.
-- A speed that slides by a few rev/min from reading to reading is one stretch to the profile, whose mean hides the slide;
-- so the readings themselves are asked, of the few pumps that fall short at all. A log of changes has none in most quarters.
-- Both kinds of hours under one planned speed tell a sag from an edited plan, which is wrong at all temperatures. So does
-- one that no hour was cool enough for, where it ran at many speeds and nothing but the air says at which: an edited plan
-- is one speed.
with quarter_hour as (
    select p.site_id, p.pump_id, p.day_local, p.planned_speed_rpm, p.speed_rpm,
        d.start_utc + to_minutes(15 * p.quarter) as start_utc, f.weather, p.run_min,
        lag(p.planned_speed_rpm) over of_day = p.planned_speed_rpm
            and lead(p.planned_speed_rpm) over of_day = p.planned_speed_rpm as steady
    from profile as p
    join judged_day as j on j.day_local = p.day_local and j.in_week
    join pump_fact as f using (pump_id)
    join local_day as d on d.zone = f.zone and d.day_local = p.day_local
    anti join excused_day as x on x.pump_id = p.pump_id and x.day_local = p.day_local
    window of_day as (partition by p.pump_id, p.day_local order by p.quarter)
),
looked_at as (
    select distinct pump_id
    from quarter_hour
    where steady and planned_speed_rpm - speed_rpm > $hint_rpm
),
seen as (
    select r.pump_id, time_bucket(interval 15 minutes, r.time_utc) as start_utc, median(r.speed_rpm) as speed_rpm
    from reading as r
    semi join looked_at as l on l.pump_id = r.pump_id
    where r.speed_rpm > 0
    group by r.pump_id, time_bucket(interval 15 minutes, r.time_utc)
),
-- A reading each half hour still tells a slide that the mean of a stretch hides.
told as (
    select q.* exclude (speed_rpm), q.planned_speed_rpm - coalesce(s.speed_rpm, q.speed_rpm) as short_rpm,
        s.speed_rpm is not null or 3 * count(s.speed_rpm) over of_speed < count(*) over of_speed as looked
    from quarter_hour as q
    left join seen as s on s.pump_id = q.pump_id and s.start_utc = q.start_utc
    window of_speed as (partition by q.pump_id, q.planned_speed_rpm)
),
running as (
    select q.*, w.air_temperature_c as air_c, short_rpm > $short_rpm as short, abs(short_rpm) <= $at_plan_rpm as at_plan
    from told as q
    left join weather as w on w.weather = q.weather and w.time_utc = date_trunc('hour', q.start_utc)
    where q.steady and q.run_min > 14.99 and q.planned_speed_rpm > 0
        and q.short_rpm <= $most_share * q.planned_speed_rpm
),
by_day as (
    select site_id, pump_id, planned_speed_rpm, day_local, 15 * count(*) filter (short) as short_min
    from running
    group by site_id, pump_id, planned_speed_rpm, day_local
),
short_day as (
    select site_id, pump_id, planned_speed_rpm, count(*) as days, min(day_local) as first_day,
        max(day_local) as last_day
    from by_day
    where short_min >= $minutes
    group by site_id, pump_id, planned_speed_rpm
    having count(*) >= $days
),
slid as (
    select *, short_rpm > $hint_rpm and short_rpm <= 0.8 * median(short_rpm) filter (short)
        over (partition by pump_id, planned_speed_rpm) as on_the_way
    from running
),
compared as (
    select pump_id, planned_speed_rpm, median(short_rpm) filter (short) as short_rpm,
        median(air_c) filter (short) as hot_c, median(air_c) filter (at_plan) as cool_c,
        15 * count(*) filter (on_the_way) as between_min, count(*) filter (at_plan) as at_plan_quarters, count(air_c) as air_quarters, count(*) as quarters,
        corr(short_rpm, air_c order by start_utc) filter (looked) as correlation,
        quantile_cont(short_rpm, 0.9) filter (looked) - quantile_cont(short_rpm, 0.1) filter (looked) as spread_rpm
    from slid
    group by pump_id, planned_speed_rpm
),
judged as (
    select s.*, c.short_rpm, c.hot_c, c.cool_c, c.air_quarters >= 0.9 * c.quarters as air_known,
        coalesce(c.hot_c >= $hot_c and c.hot_c >= c.cool_c + $warmer_c and c.correlation >= $correlation
            and c.between_min >= $between_min and 15 * c.at_plan_quarters >= $minutes, false)
            or coalesce(c.hot_c >= $hot_c and c.correlation >= $follows and c.spread_rpm >= 2 * $short_rpm
                and c.between_min >= $between_min, false) as hot,
        15 * c.at_plan_quarters >= $minutes as both_kinds
    from short_day as s
    join compared as c using (pump_id, planned_speed_rpm)
),
chosen as (
    select *,
        row_number() over (partition by pump_id order by hot desc, both_kinds desc, days desc, planned_speed_rpm desc) as place
    from judged
),
evidence as (
    select site_id, pump_id as component, case when air_known then 'found' else 'cannot tell' end as verdict,
        case when not air_known then 'hourly readings of a weather station for the week: on some hours the pump falls '
            || 'short of its planned speed' end as needs,
        first_day, last_day, days, short_rpm as measured, $short_rpm::double as threshold, 'rpm' as unit,
        case when air_known
            then format('Planned were {:.0f} rpm. The air was at {:.0f} deg C in the middle of the hours that fell short',
                planned_speed_rpm, hot_c)
            || case when both_kinds then format(', at {:.0f} deg C of those that kept to the plan.', cool_c)
                else ', and the hotter it was the slower the pump ran.' end end as extra
    from chosen
    where place = 1 and (hot or both_kinds and not air_known)
)
select * from evidence order by site_id, component
