-- B1, readings are missing.
-- grain: one pump with too few complete days in the week. inputs: pump_fact, judged_day, daily.
-- parameters: $days (incomplete days), $day_coverage (share; one day below it is enough), $hole_min, up to which a hole
--   may be a few rows of a logger that looks less often than its dialect says [min]. columns: those of EVIDENCE that it
--   fills.
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
evidence as (
    select site_id, component, 'found' as verdict, first_day, last_day, days, measured, 0.9 as threshold,
        'share observed' as unit, case when longest_gap_min <= $hole_min then 'B16' end as explained_by,
        format('The longest hole within a day lasts {:.1f} h.', longest_gap_min / 60) as extra
    from counted
    where days >= $days or (days >= 1 and least_coverage < $day_coverage)
)
select * from evidence order by site_id, component
