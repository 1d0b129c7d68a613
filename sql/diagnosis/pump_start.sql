-- Starts of pumps: running that follows a stop, both seen; what lies beside a hole in the log neither starts nor stops.
-- Grain: one start. Inputs: span, judged_day, pump_source, export. Parameters: none.
-- Columns: site_id, pump_id, day_local, in_week, start_utc; still_min, the stop before it [min]; run_min, until the next
--   stop or hole [min]; reason, why it runs after its priming (a cause of spans); priming_min [min], priming_rpm, by the
--   cause of the spans; lead_min [min], lead_rpm, whatever ran before the plan's speed, null where that never came;
--   primed_utc, first minute at the plan's speed, held_until_utc, its end, or a change of the auxiliary load's
--   state before, planned_rpm; sample_s, interval of the log (0: changes of state, null: not known).
with ordered as (
    select
        span.*,
        judged_day.in_week,
        span.kind is distinct from lag(span.kind) over of_pump or span.start_utc is distinct from lag(span.end_utc) over of_pump
            as begins
    from span
    join judged_day using (day_local)
    window of_pump as (partition by span.pump_id order by span.start_utc)
),
numbered as (
    select *, sum(begins::int) over (partition by pump_id order by start_utc) as run
    from ordered
),
first_planned as (
    select pump_id, run, min(start_utc) as primed_utc, arg_min(planned_speed_rpm, start_utc) as planned_rpm,
        arg_min(coalesce(aux_on, false), start_utc) as primed_aux_on
    from numbered
    where kind = 'run' and cause = 'plan period'
    group by pump_id, run
),
-- Power that rises in the midst of it parts the plan's speed into two spans, and is what a slow priming shows.
held as (
    select n.pump_id, n.run,
        coalesce(
            min(n.start_utc) filter (n.cause <> 'plan period' or n.planned_speed_rpm is distinct from f.planned_rpm
                or coalesce(n.aux_on, false) <> f.primed_aux_on),
            max(n.end_utc)
        ) as held_until_utc
    from numbered as n
    join first_planned as f using (pump_id, run)
    where n.start_utc >= f.primed_utc
    group by n.pump_id, n.run
),
runs as (
    select
        n.pump_id, n.run, any_value(n.kind) as kind, any_value(n.site_id) as site_id,
        arg_min(n.day_local, n.start_utc) as day_local, arg_min(n.in_week, n.start_utc) as in_week,
        min(n.start_utc) as start_utc, epoch(max(n.end_utc) - min(n.start_utc)) / 60 as run_min,
        arg_min(n.cause, n.start_utc) filter (n.cause <> 'priming') as reason,
        sum(n.duration_min order by n.start_utc) filter (n.cause = 'priming') as priming_min,
        max(n.speed_rpm) filter (n.cause = 'priming') as priming_rpm,
        max(n.speed_rpm) filter (n.start_utc < f.primed_utc) as lead_rpm,
        any_value(f.primed_utc) as primed_utc, any_value(h.held_until_utc) as held_until_utc,
        any_value(f.planned_rpm) as planned_rpm
    from numbered as n
    left join first_planned as f using (pump_id, run)
    left join held as h using (pump_id, run)
    group by n.pump_id, n.run
),
sided as (
    select *, lag(kind) over of_pump as kind_before, lag(run_min) over of_pump as still_min
    from runs
    window of_pump as (partition by pump_id order by run)
),
sampled as (
    select pump_source.pump_id, max(export.hold_s) as sample_s
    from pump_source
    join export using (source)
    where export.status = 'read'
    group by pump_source.pump_id
),
pump_start as (
    select
        s.site_id, s.pump_id, s.day_local, s.in_week, s.start_utc, s.still_min, s.run_min, coalesce(s.reason, 'priming') as reason,
        coalesce(s.priming_min, 0) as priming_min, s.priming_rpm,
        epoch(s.primed_utc - s.start_utc) / 60 as lead_min, s.lead_rpm, s.primed_utc, s.held_until_utc, s.planned_rpm,
        sampled.sample_s
    from sided as s
    left join sampled using (pump_id)
    where s.kind = 'run' and s.kind_before = 'off'
)
select * from pump_start order by pump_id, start_utc
