-- C8, too slow to be efficient: long hours well below the knee speed, where each litre costs more than at the knee.
-- grain: one pump. inputs: span, daily, judged_day, pump_fact, excused_day, site, speed_grid, efficiency,
--   efficiency_record.
-- parameters: $below_rpm below the knee [rev/min], $dearer share by which the litre costs more there, $hours [h a day],
--   $days (of the week's valid days), $near_rpm, a speed this close to the load's minimum is kept for the load, $ask_rpm,
--   below which an unknown knee is worth asking for [rev/min]. columns: those of EVIDENCE that it fills.
-- The knee is the lowest that the flow band allows; where it lies above the speeds seen, the fastest of these is no
--   cheaper than the knee. The litre has to be dearer by $dearer for the middle flow, and dearer at all for the low and the
--   high one: so wide a band needs no margin on top. Power at rest is taken off,
--   as the knee speed takes it off.
-- A public pool is left alone: fewer hours are no advice there. Raising a speed above the plan's fastest needs ratings.
with told as (
    select f.site_id, f.pump_id, f.aux_load, f.aux_min_speed_rpm, r.knee_state, coalesce(r.standby_w, 0) as standby_w,
        least(x.filter_limit_m3h, x.suction_limit_m3h) as limit_m3h,
        x.filter_limit_m3h is not null and x.suction_limit_m3h is not null as rated,
        case when r.knee_state = 'given' then r.knee_speed_rpm_lo when r.knee_state = 'above the speeds seen' then e.fastest_rpm end
            as knee_rpm
    from pump_fact as f
    join site as x using (site_id)
    join efficiency_record as r using (pump_id)
    left join (select pump_id, max(speed_rpm) as fastest_rpm from efficiency group by pump_id) as e using (pump_id)
    where f.pool_class <> 'public'
),
knee as (
    select t.*, g.power_w_mid - t.standby_w as knee_w, g.flow_m3h_lo as knee_m3h_lo, g.flow_m3h_mid as knee_m3h,
        g.flow_m3h_hi as knee_m3h_hi
    from told as t
    left join speed_grid as g on g.pump_id = t.pump_id and g.speed_rpm = t.knee_rpm
),
valid_day as (
    select d.pump_id, d.day_local
    from daily as d
    join judged_day as j on j.day_local = d.day_local and j.in_week
    anti join excused_day as x on x.pump_id = d.pump_id and x.day_local = d.day_local
    where d.valid
),
planned_run as (
    select k.*, v.day_local, s.start_utc, s.duration_min, s.speed_rpm,
        max(s.speed_rpm) over (partition by k.pump_id) as plan_top_rpm,
        s.speed_rpm * s.duration_min as turned,
        g.power_w_mid - k.standby_w as added_w, g.flow_m3h_lo as flow_m3h_lo, g.flow_m3h_mid as flow_m3h,
        g.flow_m3h_hi as flow_m3h_hi,
        not coalesce(s.aux_on, false)
            and not (k.aux_load <> 'none' and coalesce(abs(s.speed_rpm - k.aux_min_speed_rpm) <= $near_rpm, false)) as free
    from knee as k
    join valid_day as v using (pump_id)
    join span as s on s.pump_id = v.pump_id and s.day_local = v.day_local
    left join speed_grid as g on g.pump_id = s.pump_id and g.speed_rpm = round(s.speed_rpm / 25) * 25
    where s.kind = 'run' and s.cause in ('plan period', 'unexplained')
),
slow as (
    select site_id, pump_id, day_local, sum(duration_min order by start_utc) / 60 as slow_h,
        sum(turned order by start_utc) / sum(duration_min order by start_utc) as mean_rpm,
        sum(added_w * duration_min order by start_utc) as spent,
        sum(flow_m3h * duration_min order by start_utc) * any_value(knee_w / knee_m3h) as needed
    from planned_run
    where free and speed_rpm <= knee_rpm - $below_rpm and added_w > 0 and knee_w > 0 and knee_m3h > 0
        and added_w * knee_m3h >= (1 + $dearer) * knee_w * flow_m3h
        and added_w * knee_m3h_lo > knee_w * flow_m3h_lo and added_w * knee_m3h_hi > knee_w * flow_m3h_hi
    group by site_id, pump_id, day_local
    having slow_h >= $hours
),
counted as (
    select site_id, pump_id, count(*) as days, min(day_local) as first_day, max(day_local) as last_day,
        median(mean_rpm) as mean_rpm, median(slow_h) as slow_h, median(spent / nullif(needed, 0)) as ratio,
        7 * avg(spent - needed order by day_local) / 60000 as saved_kwh
    from slow
    group by site_id, pump_id
    having count(*) >= $days
),
top as (
    select pump_id, max(plan_top_rpm) as plan_top_rpm
    from planned_run
    group by pump_id
),
found as (
    select c.site_id, c.pump_id as component,
        case when k.knee_rpm <= t.plan_top_rpm or k.rated then 'found' else 'cannot tell' end as verdict,
        case when not (k.knee_rpm <= t.plan_top_rpm or k.rated)
            then 'the ratings of filter and suction fittings in sites.csv, before a speed is raised' end as needs,
        c.first_day, c.last_day, c.days, c.mean_rpm as measured, k.knee_rpm::double as threshold, 'rpm' as unit,
        case when c.ratio is null then format('{:.1f} h a day, moving no water by its curve', c.slow_h)
            else format('{:.1f} h a day, each litre {:.0f} % dearer than there', c.slow_h, 100 * (c.ratio - 1)) end as extra,
        c.saved_kwh as benefit_kwh_week
    from counted as c
    join knee as k using (pump_id)
    join top as t using (pump_id)
    where k.knee_rpm <= t.plan_top_rpm or not k.rated or k.knee_m3h_hi <= k.limit_m3h
),
crawling as (
    select site_id, pump_id, day_local, any_value(knee_state) as knee_state
    from planned_run
    where knee_rpm is null and knee_state <> 'none within the speeds seen' and free and speed_rpm <= $ask_rpm
    group by site_id, pump_id, day_local
    having sum(duration_min order by start_utc) / 60 >= $hours
),
silent as (
    select site_id, pump_id as component, 'cannot tell' as verdict,
        format('the speed below which a litre costs more: {}', any_value(knee_state)) as needs,
        min(day_local) as first_day, max(day_local) as last_day, count(*) as days, null::double as measured,
        null::double as threshold, 'rpm' as unit, null as extra, null::double as benefit_kwh_week
    from crawling
    group by site_id, pump_id
    having count(*) >= $days
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
