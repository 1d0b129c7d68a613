-- D16, heating on a slow step: the heater's hours lie outside the step that is fast enough for it.
-- grain: one pump with a heater. inputs: aux_window, profile, daily, judged_day, pump_fact, idle_day, excused_day.
-- parameters: $share (of the heater's minutes at enough speed), $minutes (of heating in a day, less is not judged)
--   [min], $days (of the week's valid days), $speed_margin_rpm [rev/min]. columns: those of EVIDENCE that it fills.
-- The heater's minutes are those it was on; on a day with less than half its usual minutes, the hours it used to be on
--   in, because an interlock that works keeps it off on a slow step.
with quarter_hour as (
    select p.site_id, p.pump_id, p.day_local, p.quarter, p.aux_min, w.clock_local is not null as expected, w.usual_min,
        p.run_min + p.off_min as seen_min,
        p.speed_rpm >= f.aux_min_speed_rpm - $speed_margin_rpm as fast
    from profile as p
    join judged_day as j on j.day_local = p.day_local and j.in_week
    join pump_fact as f on f.pump_id = p.pump_id and f.aux_load = 'heater' and f.aux_min_speed_rpm is not null
    join daily as d on d.pump_id = p.pump_id and d.day_local = p.day_local and d.valid
    left join aux_window as w on w.pump_id = p.pump_id and w.clock_local = p.clock_local
    anti join idle_day as i on i.pump_id = p.pump_id and i.day_local = p.day_local
    anti join excused_day as x on x.pump_id = p.pump_id and x.day_local = p.day_local
    where p.aux_min is not null
),
by_day as (
    select site_id, pump_id, day_local, sum(aux_min order by quarter) as on_min, max(usual_min) as usual_min,
        coalesce(sum(aux_min order by quarter) filter (fast), 0) as on_fast_min,
        coalesce(sum(seen_min order by quarter) filter (expected), 0) as expected_min,
        coalesce(sum(seen_min order by quarter) filter (expected and fast), 0) as expected_fast_min
    from quarter_hour
    group by site_id, pump_id, day_local
),
wanted as (
    select *, coalesce(on_min < 0.5 * usual_min, false) as kept_off,
        case when on_min < 0.5 * usual_min then expected_min else on_min end as heat_min,
        case when on_min < 0.5 * usual_min then expected_fast_min else on_fast_min end as fast_min
    from by_day
),
slow_day as (
    select site_id, pump_id, day_local, fast_min / heat_min as share, kept_off
    from wanted
    where heat_min >= $minutes and fast_min < $share * heat_min
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict, min(day_local) as first_day, max(day_local) as last_day,
        count(*) as days, median(share) as measured, $share::double as threshold, 'share' as unit,
        case when bool_or(kept_off) then 'It stayed off for most of its usual time.' else '' end as extra
    from slow_day
    group by site_id, pump_id
    having count(*) >= $days
)
select * from evidence order by site_id, component
