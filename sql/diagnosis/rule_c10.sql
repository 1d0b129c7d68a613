-- C10, override left on: stretches off the plan that no visit covers.
-- grain: one pump. inputs: span, daily, judged_day, excused_day, profile, clock_match, clock_evidence, plan_window,
--   speed_grid.
-- parameters: $stretch_min [min], $same_rpm, a stretch keeps its speed to this [rev/min], $days, $regular_min, starts this
--   close together are a programme's and no hand's [min], $hole_min, a stretch goes on over a hole in the log that is no longer
--   [min]. columns: those of EVIDENCE that it fills.
-- A hand comes at odd times. A stretch that begins at the same time on the day before or after, or that keeps the hours
--   or the speed and length of a planned period, is the programme: another one, or the same at another time. Unless the
--   clock or the record explains it, that cannot be told from one week's first or last days. What begins on the newest day may
--   come back on the next: it is judged in the week after.
-- Off its plan on all valid days but one, with a programme that differs from the record, is a stale record as likely as
--   an override.
-- An override lasts at most 24 h and then hands back to the plan (facts 2k, from memory): longer is said, not needed.
with seen as (
    select s.*, j.in_week, x.pump_id is null and s.kind = 'run' and s.cause in ('override', 'unexplained') as off_plan
    from span as s
    join judged_day as j using (day_local)
    left join (select distinct pump_id, day_local from excused_day) as x on x.pump_id = s.pump_id and x.day_local = s.day_local
    where s.kind <> 'unknown'
),
followed as (
    select *, coalesce(not lag(off_plan) over of_pump
            or epoch(start_utc - lag(end_utc) over of_pump) > 60 * $hole_min
            or abs(speed_rpm - lag(speed_rpm) over of_pump) > $same_rpm, true) as begins
    from seen
    window of_pump as (partition by pump_id order by start_utc)
),
marked as (
    select s.site_id, s.pump_id, s.day_local, s.in_week, s.start_utc, s.end_utc, s.start_min,
        s.duration_min, s.energy_kwh, s.speed_rpm, s.begins,
        case when s.planned_speed_rpm = 0 then 0.0 else g.power_w_mid * s.duration_min / 60000 end as planned_kwh
    from followed as s
    left join speed_grid as g on g.pump_id = s.pump_id and g.speed_rpm = round(s.planned_speed_rpm / 25) * 25
    where s.off_plan
),
numbered as (
    select *, sum(begins::int) over (partition by pump_id order by start_utc) as stretch
    from marked
),
stretches as (
    select site_id, pump_id, stretch, min(day_local) as first_day, max(day_local) as last_day, sum(duration_min order by start_utc)
        as stretch_min, min(start_utc) as begin_utc, max(end_utc) as stop_utc, arg_min(start_min, start_utc) as begin_min,
        arg_min(speed_rpm, start_utc) as begin_rpm,
        coalesce(list(distinct day_local) filter (in_week), [max(day_local)]) as days, sum(energy_kwh - planned_kwh order by start_utc) as excess_kwh,
        count(*) = count(energy_kwh - planned_kwh) as excess_known
    from numbered
    group by site_id, pump_id, stretch
),
last_days as (
    select max(day_local) as newest_day, max(day_local) filter (not in_week) as eve
    from judged_day
),
clocked as (
    select s.*, 60 * p.clock_local[1:2]::int + p.clock_local[4:5]::int + s.begin_min - 15 * p.quarter as clock_min
    from stretches as s
    join profile as p on p.pump_id = s.pump_id and p.day_local = s.first_day and p.quarter = floor(s.begin_min / 15)
),
recurring as (
    select distinct a.pump_id, a.stretch
    from clocked as a
    join clocked as b on b.pump_id = a.pump_id and b.first_day between a.first_day - 1 and a.first_day + 1
        and b.first_day <> a.first_day
    where abs((a.clock_min - b.clock_min + 2160) % 1440 - 720) <= $regular_min
        and abs(a.begin_rpm - b.begin_rpm) <= $same_rpm
),
of_a_period as (
    select distinct s.pump_id, s.stretch
    from stretches as s
    join plan_window as w on w.pump_id = s.pump_id and w.day_local = s.first_day
    where abs(epoch(s.stop_utc - s.begin_utc) - epoch(w.end_utc - w.start_utc)) <= 120 * $regular_min
        and (abs(epoch(s.begin_utc - w.start_utc)) <= 60 * $regular_min or abs(s.begin_rpm - w.speed_rpm) <= $same_rpm)
),
long_in_week as (
    select s.*, r.stretch is not null or o.stretch is not null or s.first_day = l.newest_day as programme
    from stretches as s
    cross join last_days as l
    join judged_day as j on j.day_local = s.last_day and (j.in_week or j.day_local = l.eve)
    left join recurring as r using (pump_id, stretch)
    left join of_a_period as o using (pump_id, stretch)
    where s.stretch_min >= $stretch_min
    qualify j.in_week or not bool_or(j.in_week) over (partition by s.pump_id)
),
told as (
    select distinct component as pump_id
    from clock_evidence
    where verdict = 'found'
),
judgeable as (
    select s.*, s.programme and t.pump_id is null as open
    from long_in_week as s
    left join told as t using (pump_id)
    qualify not open or bool_and(open) over (partition by s.pump_id)
),
counted as (
    select site_id, pump_id, bool_and(open) as open, min(first_day) as first_day, max(last_day) as last_day,
        len(list_distinct(flatten(list(days)))) as days,
        array_to_string(list_sort(list_distinct(flatten(list(days)))), ' ') as on_days,
        max(stretch_min) as longest_min, sum(excess_kwh order by stretch) as excess_kwh, bool_and(excess_known) as excess_known
    from judgeable
    group by site_id, pump_id
),
valid_days as (
    select d.pump_id, count(*) as valid_days
    from daily as d
    join judged_day as j on j.day_local = d.day_local and j.in_week
    where d.valid
    group by d.pump_id
),
judged as (
    select c.*, m.verdict as clock, coalesce(v.valid_days, 0) - 1 as most_days
    from counted as c
    left join clock_match as m using (pump_id)
    left join valid_days as v using (pump_id)
    where c.days >= $days
),
evidence as (
    select site_id, pump_id as component,
        case when open or unsettled then 'cannot tell' else 'found' end as verdict,
        case when unsettled
            then 'the plan that is really keyed in: on most days what runs differs from the record, pump or record'
            when open then 'the plan that is really keyed in: what runs off the record keeps its hours, as a programme does'
                end as needs,
        first_day, last_day, on_days, days, longest_min / 60 as measured, $stretch_min / 60.0 as threshold, 'h' as unit,
        case when longest_min > 1440 then 'One stretch is longer than the 24 h that an override may last.'
            when longest_min >= 1440 - 5 then 'The longest ended by itself after the 24 h that an override may last.'
            else '' end as extra,
        case when excess_known then greatest(excess_kwh, 0) end as benefit_kwh_week
    from (
        select *, coalesce(clock in ('differs from record', 'ambiguous') and days >= most_days
            or clock = 'whole source shifted', false) as unsettled
        from judged
    )
)
select * from evidence order by site_id, component
