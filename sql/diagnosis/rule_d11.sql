-- D11, flow above what filter, suction fittings or pipes may take, at speeds that ran and at speeds that are planned.
-- grain: one pump. inputs: span, plan_window, judged_day, excused_day, doubted_pump, speed_grid, pump, site.
-- parameters: $minutes (of the week at one speed) [min], $velocity_ms (in the pipe) [m/s], $near_rpm, so close to the
--   priming speed is priming [rev/min], $burst_most_min, longer is no priming [min]. columns: those of EVIDENCE that it
--   fills.
-- Its days are those on which such a speed ran or was planned.
-- One-sided: the high bound of the flow counts, and an unknown rating is never a pass. Priming is left out, which moves
--   air and water for minutes, whether a start asked for it or air that came in (D1), and so are excused days, when
--   somebody stood beside the pump. A metered flow goes first.
-- Where the likeliest flow is below the limit of filter or pipe and the high bound alone is above it, a reading on site
--   comes before a stop: it is no safety finding then, and as likely as the bounds say, which hold nine of ten (the
--   normal law by its logistic likeness, within a hundredth). Not so at a suction fitting, which can hold a bather: there
--   the high bound is enough.
-- Speeds in a log that may be another pump's, or at another time, are none that this pump ran at; what is planned for it
--   counts all the same.
-- Inside diameters of Schedule 40 pipe: 1.610, 2.067 and 2.469 in (facts 2.3, from memory). A pipe that is too fast is
--   noise and wear, a rating that is passed is a hazard: so it alone is no safety finding.
with limits as (
    select p.site_id, p.pump_id, s.filter_limit_m3h, s.suction_limit_m3h,
        3600 * pi() / 4 * (case p.pipe_size when '1.5 in' then 1.610 when '2 in' then 2.067 when '2.5 in' then 2.469 end * 0.0254) ** 2
            * $velocity_ms as pipe_limit_m3h
    from pump as p
    join site as s using (site_id)
),
ran as (
    select s.pump_id, round(s.speed_rpm / 25) * 25 as speed_rpm, list(distinct s.day_local) as run_days, []::date[] as planned_days,
        sum(s.flow_m3h * s.duration_min order by s.start_utc) / sum(s.duration_min order by s.start_utc) filter (s.flow_m3h is not null)
            as metered_m3h
    from span as s
    join judged_day as j on j.day_local = s.day_local and j.in_week
    join pump as p on p.pump_id = s.pump_id
    anti join excused_day as x on x.pump_id = s.pump_id and x.day_local = s.day_local
    anti join doubted_pump as u on u.pump_id = s.pump_id and u.quantity = 'speed'
    where s.kind = 'run' and s.cause <> 'priming' and s.speed_rpm > 0
        and not coalesce(abs(s.speed_rpm - p.priming_speed_rpm) <= $near_rpm and s.duration_min <= $burst_most_min
            and s.planned_speed_rpm is distinct from p.priming_speed_rpm, false)
    group by s.pump_id, round(s.speed_rpm / 25) * 25
    having sum(s.duration_min order by s.start_utc) >= $minutes
),
keyed_in as (
    select w.pump_id, round(w.speed_rpm / 25) * 25 as speed_rpm, []::date[] as run_days,
        list(distinct w.day_local) as planned_days, null::double as metered_m3h
    from plan_window as w
    join judged_day as j on j.day_local = w.day_local and j.in_week
    where w.speed_rpm > 0
    group by w.pump_id, round(w.speed_rpm / 25) * 25
),
speeds as (
    select pump_id, speed_rpm, flatten(list(run_days)) as run_days, flatten(list(planned_days)) as planned_days,
        max(metered_m3h) as metered_m3h
    from (
        from ran
        union all
        from keyed_in
    )
    group by pump_id, speed_rpm
),
flows as (
    select l.site_id, l.pump_id, s.speed_rpm, s.run_days, s.planned_days, coalesce(s.metered_m3h, g.flow_m3h_hi) as flow_m3h,
        coalesce(s.metered_m3h, g.flow_m3h_mid, g.flow_m3h_hi) as likely_m3h,
        least(l.filter_limit_m3h, l.suction_limit_m3h) as rating_m3h, l.suction_limit_m3h,
        least(l.filter_limit_m3h, l.suction_limit_m3h, l.pipe_limit_m3h) as limit_m3h
    from limits as l
    join speeds as s using (pump_id)
    left join speed_grid as g on g.pump_id = l.pump_id and g.speed_rpm = s.speed_rpm
),
above as (
    select site_id, pump_id, max(flow_m3h) as flow_m3h, arg_max(speed_rpm, struct_pack(flow := flow_m3h, speed := speed_rpm)) as speed_rpm,
        any_value(limit_m3h) as limit_m3h,
        coalesce(bool_or(likely_m3h > rating_m3h or flow_m3h > suction_limit_m3h), false) as above_rating,
        coalesce(bool_or(likely_m3h > limit_m3h or flow_m3h > suction_limit_m3h), false) as likely,
        max(1 / (1 + exp(1.702 * 1.645 * (limit_m3h - likely_m3h) / (flow_m3h - likely_m3h))))
            filter (flow_m3h > likely_m3h) as chance,
        arg_max(likely_m3h, struct_pack(flow := flow_m3h, speed := speed_rpm)) as likely_m3h,
        list_distinct(flatten(list(run_days))) as run_days,
        list_distinct(flatten(list(run_days || planned_days))) as days, bool_or(len(planned_days) > 0) as planned
    from flows
    where flow_m3h > limit_m3h
    group by site_id, pump_id
),
found as (
    select a.site_id, a.pump_id as component, 'found' as verdict, null as needs,
        case when not above_rating then 'next visit' end as severity,
        case when not a.likely then a.chance end as probability, list_min(a.days) as first_day,
        list_max(a.days) as last_day, len(a.days) as days, a.flow_m3h as measured, a.limit_m3h as threshold,
        'm3/h' as unit,
        format('At {:.0f} rpm up to {:.1f} m3/h may pass{}, and {} {:.1f} m3/h ({}{}).', a.speed_rpm, a.flow_m3h,
            if(a.likely, '', format(', likely {:.1f}', a.likely_m3h)),
            case a.limit_m3h when l.suction_limit_m3h then 'the suction fittings are rated for'
                when l.filter_limit_m3h then 'the filter is rated for' else 'the pipe should carry' end,
            a.limit_m3h, case when len(a.run_days) = 0 then 'planned, not run this week'
                when len(a.run_days) = 1 then 'run on 1 day' else format('run on {} days', len(a.run_days)) end,
            case when a.planned and len(a.run_days) > 0 then ', and planned' else '' end) as extra
    from above as a
    join limits as l using (pump_id)
),
known as (
    select pump_id, coalesce(bool_and(flow_m3h is not null), false) as flow_known
    from flows
    group by pump_id
),
silent as (
    select l.site_id, l.pump_id as component, 'cannot tell' as verdict,
        concat_ws(' and ',
            case when l.filter_limit_m3h is null and l.suction_limit_m3h is null
                    then 'the ratings of the filter and of the suction fittings in sites.csv'
                when l.filter_limit_m3h is null then 'the rating of the filter in sites.csv'
                when l.suction_limit_m3h is null then 'the rating of the suction fittings in sites.csv' end,
            case when not k.flow_known
                then 'a source of flow at every speed that runs: a pump curve with a measured or design point, or a flow '
                    || 'meter' end) as needs,
        null as severity, null::double as probability, null::date as first_day, null::date as last_day, null::bigint as days,
        null::double as measured,
        null::double as threshold, 'm3/h' as unit, null as extra
    from limits as l
    join known as k using (pump_id)
    anti join above using (pump_id)
    where l.filter_limit_m3h is null or l.suction_limit_m3h is null or not k.flow_known
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
