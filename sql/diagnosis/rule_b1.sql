-- B1, readings are missing.
-- Where a logger looks so seldom that one lost row already passes the gap limit of its dialect, short holes are that
--   limit's, and no export would fill them.
-- grain: one pump with too few complete days in the week. inputs: pump_fact, judged_day, daily, look_interval.
-- parameters: $days (incomplete days), $day_coverage (share; one day below it is enough), $hole_min, up to which a hole
--   may be a few rows of such a logger [min]. columns: those of EVIDENCE that it fills.
with week as (
    select f.site_id, f.pump_id, j.day_local, coalesce(d.valid, false) as valid, coalesce(d.coverage, 0) as coverage,
        coalesce(d.observed_min, 0) as observed_min, coalesce(d.day_min, 1440) as day_min,
        coalesce(d.longest_gap_min, 1440) as longest_gap_min
    from pump_fact as f
    cross join judged_day as j
    left join daily as d on d.pump_id = f.pump_id and d.day_local = j.day_local
    where j.in_week
),
counted as (
    select site_id, pump_id as component, count(*) filter (not valid) as days, min(coverage) as least_coverage,
        sum(observed_min order by day_local) / sum(day_min) as measured, min(day_local) filter (not valid) as first_day,
        max(day_local) filter (not valid) as last_day, max(longest_gap_min) as longest_gap_min
    from week
    group by site_id, pump_id
),
told as (
    select c.*, l.look_min, l.gap_limit_min,
        coalesce(2 * l.look_min > l.gap_limit_min, false) and c.longest_gap_min <= $hole_min as seldom
    from counted as c
    left join look_interval as l on l.pump_id = c.component
    where c.days >= $days or (c.days >= 1 and c.least_coverage < $day_coverage)
),
evidence as (
    select site_id, component, if(seldom, 'cannot tell', 'found') as verdict, first_day, last_day, days, measured,
        0.9 as threshold, 'share observed' as unit,
        case when seldom
            then format('a gap limit of its dialect that fits its logger, which now looks each {:.0f} min: {} of 7 days are not '
                || 'complete by the limit of {:.0f} min', look_min, days, gap_limit_min) end as needs,
        format('The longest hole within a day lasts {:.1f} h.', longest_gap_min / 60) as extra
    from told
)
select * from evidence order by site_id, component
