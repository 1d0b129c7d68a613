-- What ran inside each planned period of the days that are compared, its first and last minutes left out.
-- grain: one stretch of one pump within one planned period. inputs: keyed_day, keyed_period, plan_window, span.
-- parameters: $near_rpm [rev/min] (a speed this close is that speed), $edge_min [min] (left out at either end: a logger
--   that looks each quarter hour, and a minute of clock), $other_rpm [rev/min] (a speed this close is that of another
--   period, and no speed of its own).
-- columns: site_id, pump_id, day_local, period, window_min [min], window_start_utc, window_end_utc, start_utc, end_utc,
--   duration_min [min], state: own, next (at the speed of the next period), other (still, or at the speed of another
--   period), strange (at no planned speed), disturbed (someone's hand, frost or a load rules), unknown; still (bool:
--   it did not run).
-- A stretch at the speed of another period is no override, although its cause may be called one.
with planned as (
    select k.site_id, w.pump_id, w.day_local, w.period, k.speed_rpm, k.next_period, k.next_speed_rpm,
        w.start_utc + to_seconds($edge_min * 60) as window_start_utc, w.end_utc - to_seconds($edge_min * 60) as window_end_utc
    from keyed_day as d
    join plan_window as w using (pump_id, day_local)
    join keyed_period as k on k.pump_id = w.pump_id and k.period = w.period
),
met as (
    select p.*, greatest(s.start_utc, p.window_start_utc) as start_utc, least(s.end_utc, p.window_end_utc) as end_utc,
        s.kind, s.cause, s.speed_rpm as ran_rpm, coalesce(abs(s.speed_rpm - p.speed_rpm) <= $near_rpm, false) as near_own,
        p.next_period <> p.period and coalesce(abs(s.speed_rpm - p.next_speed_rpm) <= $near_rpm, false) as near_next
    from planned as p
    join span as s on s.pump_id = p.pump_id and s.day_local = p.day_local and s.start_utc < p.window_end_utc
        and s.end_utc > p.window_start_utc
    where p.window_end_utc > p.window_start_utc
),
others as (
    select pump_id, list(distinct speed_rpm order by speed_rpm) as speeds
    from keyed_period
    group by pump_id
),
period_run as (
    select m.site_id, m.pump_id, m.day_local, m.period, m.window_start_utc, m.window_end_utc, m.start_utc, m.end_utc,
        epoch(m.end_utc - m.start_utc) / 60 as duration_min, epoch(m.window_end_utc - m.window_start_utc) / 60 as window_min,
        case
            when m.kind = 'unknown' or (m.kind = 'run' and m.ran_rpm is null) then 'unknown'
            when m.kind = 'off' then 'other'
            when m.near_own or m.cause = 'priming' then 'own'
            when m.near_next then 'next'
            when list_bool_or(list_transform(o.speeds, lambda n: abs(n - m.ran_rpm) <= $other_rpm)) then 'other'
            when m.cause = 'unexplained' or m.cause = 'plan period' then 'strange'
            else 'disturbed'
        end as state,
        m.kind = 'off' as still
    from met as m
    join others as o using (pump_id)
)
select * from period_run
