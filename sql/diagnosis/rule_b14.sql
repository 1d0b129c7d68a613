-- B14, ghost standby power: a floor of watts under a pump at rest.
-- grain: one pump that rested long enough with its power logged. inputs: span, judged_day.
-- parameters: $note_w, $investigate_w [W], $low_share (of a day's time at rest that may draw less), $rest_min [min in the
--   week, on days with such a floor], $span_min [min at a stretch], $days (with such a floor). columns: those of EVIDENCE
--   that it fills.
-- The floor of a day is a quantile by real time, so a load that comes and goes does not lift it; that of the week is the
--   middle of the days that have one, from which the days before it came and after it went take nothing. A pump that never
--   rests, or whose power is not logged, asks no question. What an auxiliary load draws is no floor.
with at_rest as (
    select s.site_id, s.pump_id, s.day_local, s.start_utc, s.power_w, s.duration_min
    from span as s
    join judged_day as j on j.day_local = s.day_local and j.in_week
    where s.kind = 'off' and s.power_w is not null and s.duration_min >= $span_min and not coalesce(s.aux_on, false)
),
ranked as (
    select *,
        sum(duration_min) over (partition by pump_id, day_local order by power_w, start_utc) as below_min,
        sum(duration_min) over (partition by pump_id, day_local) as rest_min
    from at_rest
),
of_day as (
    select site_id, pump_id, day_local, max(rest_min) as rest_min,
        min(power_w) filter (below_min > $low_share * rest_min) as floor_w
    from ranked
    group by site_id, pump_id, day_local
),
floors as (
    select site_id, pump_id, median(floor_w) as floor_w, sum(rest_min order by day_local) as rest_min, count(*) as days,
        min(day_local) as first_day, max(day_local) as last_day
    from of_day
    where floor_w > $note_w
    group by site_id, pump_id
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict,
        case when floor_w > $investigate_w then 'next visit' end as severity,
        first_day, last_day, days, floor_w as measured,
        case when floor_w > $investigate_w then $investigate_w else $note_w end::double as threshold, 'W' as unit,
        format('If it is real and lasts, that is {:.0f} kWh a year; if it is the meter''s zero, every reading of this '
            || 'pump is too high by as much.', floor_w * 8.76) as extra
    from floors
    where rest_min >= $rest_min and days >= $days
)
select * from evidence order by site_id, component
