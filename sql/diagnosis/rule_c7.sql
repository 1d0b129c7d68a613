-- C7, fast for too long: more hours at a fast speed than skimming and the auxiliary load on record ask for.
-- grain: one pump. inputs: span, daily, judged_day, pump_fact, excused_day, best_plan, speed_grid.
-- parameters: $speed_rpm [rev/min], $skim_h hours a day that fast skimming may take, $beyond_h [h a day], $days (of the
--   week's valid days). columns: those of EVIDENCE that it fills.
-- Hours that an override, priming, freeze protection or a raising load explains are none of the plan's. A load asks for
--   fast hours where its minimum speed is fast or not recorded. Where the simple best plan itself is that fast, and not for
--   the load, the water asks for it; a public pool without such a plan may need it too.
-- Benefit: the hours beyond, with their water moved at the speed of the simple best plan instead.
with told as (
    select f.site_id, f.pump_id, f.aux_load, f.pool_class, least($speed_rpm, 0.9 * f.full_speed_rpm) as fast_rpm,
        b.speed_rpm as plan_rpm,
        f.aux_load <> 'none' and coalesce(f.aux_min_speed_rpm >= fast_rpm, true) as load_is_fast
    from pump_fact as f
    left join best_plan as b on b.pump_id = f.pump_id
),
valid_day as (
    select d.pump_id, d.day_local
    from daily as d
    join judged_day as j on j.day_local = d.day_local and j.in_week
    anti join excused_day as x on x.pump_id = d.pump_id and x.day_local = d.day_local
    where d.valid
),
fast as (
    select t.site_id, t.pump_id, v.day_local,
        sum(s.duration_min order by s.start_utc) / 60 as fast_h,
        coalesce(sum(s.duration_min order by s.start_utc) filter (t.load_is_fast and s.aux_on), 0) / 60 as load_h,
        coalesce(sum(s.duration_min order by s.start_utc) filter (t.load_is_fast and s.aux_on is null), 0) / 60 as unlogged_h,
        sum(s.speed_rpm * s.duration_min order by s.start_utc) / sum(s.duration_min order by s.start_utc) as mean_rpm
    from told as t
    join valid_day as v using (pump_id)
    join span as s on s.pump_id = v.pump_id and s.day_local = v.day_local
    where s.kind = 'run' and s.cause in ('plan period', 'unexplained') and s.speed_rpm >= t.fast_rpm
    group by t.site_id, t.pump_id, v.day_local
),
weighed as (
    select *, greatest($skim_h, load_h) as need_h, fast_h - greatest($skim_h, load_h) as beyond_h,
        fast_h - greatest($skim_h, load_h + unlogged_h) as surely_beyond_h
    from fast
),
counted as (
    select site_id, pump_id, count(*) as days, count(*) filter (surely_beyond_h > $beyond_h) as sure_days,
        min(day_local) as first_day, max(day_local) as last_day, median(fast_h) as fast_h, median(need_h) as need_h,
        median(beyond_h) as beyond_h, median(mean_rpm) as mean_rpm
    from weighed
    where beyond_h > $beyond_h
    group by site_id, pump_id
    having count(*) >= $days
),
judged as (
    select c.*, t.aux_load, t.fast_rpm,
        t.pool_class = 'public' and t.plan_rpm is null as water_unknown,
        7 * c.beyond_h / 1000 * (fast.power_w_mid - slow.power_w_mid * fast.flow_m3h_mid / nullif(slow.flow_m3h_mid, 0)) as saved_kwh
    from counted as c
    join told as t using (pump_id)
    left join speed_grid as fast on fast.pump_id = c.pump_id and fast.speed_rpm = round(c.mean_rpm / 25) * 25
    left join speed_grid as slow on slow.pump_id = c.pump_id and slow.speed_rpm = t.plan_rpm
    where coalesce(t.plan_rpm < t.fast_rpm or t.load_is_fast, true)
),
evidence as (
    select site_id, pump_id as component,
        case when water_unknown or sure_days < $days then 'cannot tell' else 'found' end as verdict,
        case when water_unknown then 'required turnovers and a source of flow: a public pool may need so many fast hours'
            when sure_days < $days then format('the state of the {} in the export, which may need the fast hours', aux_load)
            end as needs,
        first_day, last_day, days, fast_h as measured, need_h as threshold, 'h a day' as unit,
        format('at {:.0f} rpm or more', fast_rpm) as extra,
        case when saved_kwh > 0 then saved_kwh end as benefit_kwh_week
    from judged
)
select * from evidence order by site_id, component
