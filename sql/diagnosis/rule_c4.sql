-- C4, a step is dropped: one planned period never runs while all others run as planned.
-- grain: one pump. inputs: period_run, period_elsewhere, keyed_period.
-- parameters: $own_share (at most, of the dropped step's minutes), $others_share (at least, of every other step's),
--   $judged_share (of a period's minutes that must be seen and undisturbed), $elsewhere_share (its speed in minutes off
--   the plan, against its length: then it was moved, not dropped), $least_min [min] (shorter windows are not judged),
--   $days. columns: those of EVIDENCE that it fills.
-- Where the pump runs at another speed in these hours, the programme that does run (C13, if it is found) says more.
-- Days on which the other periods did not run tell nothing of this one. It must be absent on all days that do tell from
--   the first to the last on which it is: before and after them it may have run.
with by_period as (
    select site_id, pump_id, day_local, period,
        coalesce(sum(duration_min order by start_utc) filter (state in ('own', 'next', 'other', 'strange')), 0) as judged_min,
        coalesce(sum(duration_min order by start_utc) filter (state = 'own'), 0) as own_min,
        coalesce(sum(duration_min order by start_utc) filter (state in ('next', 'other')), 0) as other_min,
        coalesce(sum(duration_min order by start_utc) filter (still), 0) as still_min,
        sum(duration_min order by start_utc) as all_min
    from period_run
    group by site_id, pump_id, day_local, period
),
told as (
    select *, all_min >= $least_min and judged_min >= $judged_share * all_min as judgeable
    from by_period
),
compared as (
    select t.*, coalesce(o.elsewhere_min, 0) as elsewhere_min,
        count(*) filter (t.judgeable) over of_day as told_periods,
        count(*) filter (t.judgeable and t.own_min >= $others_share * t.judged_min) over of_day as kept_periods,
        (t.judgeable and t.own_min >= $others_share * t.judged_min)::int as kept
    from told as t
    left join period_elsewhere as o using (pump_id, day_local, period)
    window of_day as (partition by t.pump_id, t.day_local)
),
dropped_day as (
    select *, own_min <= $own_share * judged_min and other_min >= $others_share * judged_min
            and elsewhere_min < $elsewhere_share * all_min as dropped
    from compared
    where judgeable and told_periods >= 2 and kept_periods - kept = told_periods - 1
),
bounded as (
    select *, min(day_local) filter (dropped) over of_period as first_day,
        max(day_local) filter (dropped) over of_period as last_day, count(*) over of_period as told_days
    from dropped_day
    window of_period as (partition by pump_id, period)
),
counted as (
    select site_id, pump_id, period, count(*) as days, any_value(told_days) as told_days, first_day, last_day,
        coalesce(sum(own_min order by day_local), 0) / sum(judged_min order by day_local) as measured,
        2 * sum(still_min order by day_local) < sum(judged_min order by day_local) as runs
    from bounded
    where day_local between first_day and last_day
    group by site_id, pump_id, period, first_day, last_day
    having count(*) filter (dropped) = count(*)
),
evidence as (
    select c.site_id, c.pump_id as component, case when c.days >= $days then 'found' else 'cannot tell' end as verdict,
        case when c.days < $days
            then format('more valid days: period {} did not run on any day that tells ({} so far)', c.period, c.days) end as needs,
        case when c.runs then 'C13' end as explained_by, c.first_day, c.last_day, c.days, c.measured,
        $own_share::double as threshold, 'share of the step' as unit,
        format('Period {} ({:.0f} rpm from {:02d}:{:02d} to {:02d}:{:02d})', c.period, k.speed_rpm, k.start_min // 60,
            k.start_min % 60, k.stop_min // 60, k.stop_min % 60) as extra
    from counted as c
    join keyed_period as k using (pump_id, period)
    where c.days >= $days or c.days = c.told_days
    qualify row_number() over (partition by c.pump_id order by c.days desc, c.period) = 1
)
select * from evidence order by site_id, component
