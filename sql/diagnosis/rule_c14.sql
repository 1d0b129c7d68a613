-- C14, priming too long or too fast, as seen at the starts of each day.
-- grain: one pump. inputs: pump_start, pump, daily, judged_day, excused_day, speed_grid.
-- parameters: $minutes of priming a day [min], $fast_minutes [min] at $fast_rpm or more [rev/min], $lead_most_min, longer
--   before the plan is a hand and no priming [min], $fine_s, a coarser log does not show priming [s], $days (of the
--   week's valid days). columns: those of EVIDENCE that it fills.
-- A sampled log shows the length to half a sample too much on average, which is taken off. A coarser log than $fine_s
--   counts the starts, and the register says how long each primes.
with primed as (
    select s.site_id, s.pump_id, s.day_local, s.start_utc, s.planned_rpm,
        case
            when coalesce(s.sample_s, 0) > $fine_s then p.priming_min
            when s.lead_min <= $lead_most_min then greatest(greatest(s.lead_min, s.priming_min) - coalesce(s.sample_s, 0) / 120, 0)
            else s.priming_min
        end as priming_min,
        case when coalesce(s.sample_s, 0) > $fine_s then p.priming_speed_rpm else coalesce(s.priming_rpm, s.lead_rpm) end as priming_rpm
    from pump_start as s
    join pump as p using (pump_id)
    join daily as d on d.pump_id = s.pump_id and d.day_local = s.day_local and d.valid
    anti join excused_day as x on x.pump_id = s.pump_id and x.day_local = s.day_local
    where s.in_week and (s.reason = 'plan period'
        or (s.reason in ('unexplained', 'override') and s.lead_min <= $lead_most_min))
),
by_day as (
    select site_id, pump_id, day_local, count(*) as starts, sum(priming_min order by start_utc) as priming_min,
        max(priming_rpm) filter (priming_min > 0) as priming_rpm, median(planned_rpm) as planned_rpm
    from primed
    group by site_id, pump_id, day_local
),
long_day as (
    select *
    from by_day
    where priming_min > $minutes or (priming_rpm >= $fast_rpm and priming_min > $fast_minutes)
),
counted as (
    select site_id, pump_id, count(*) as days, min(day_local) as first_day, max(day_local) as last_day,
        median(priming_min) as priming_min, median(starts) as starts, median(priming_rpm) as priming_rpm,
        median(planned_rpm) as planned_rpm
    from long_day
    group by site_id, pump_id
    having count(*) >= $days
),
evidence as (
    select c.site_id, c.pump_id as component, 'found' as verdict, c.first_day, c.last_day, c.days,
        c.priming_min as measured, if(c.priming_min > $minutes, $minutes, $fast_minutes)::double as threshold, 'min a day' as unit,
        format('at {:.0f} rpm, over {:.0f} {}', c.priming_rpm, c.starts, if(c.starts = 1, 'start', 'starts')) as extra,
        case when c.priming_min > $minutes and fast.power_w_mid > slow.power_w_mid
            then 7 * (c.priming_min - $minutes) / 60000 * (fast.power_w_mid - slow.power_w_mid) end as benefit_kwh_week
    from counted as c
    left join speed_grid as fast on fast.pump_id = c.pump_id and fast.speed_rpm = round(c.priming_rpm / 25) * 25
    left join speed_grid as slow on slow.pump_id = c.pump_id and slow.speed_rpm = round(c.planned_rpm / 25) * 25
)
select * from evidence order by site_id, component
