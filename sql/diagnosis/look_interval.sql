-- How far apart a pump's log looks at it: a change of speed is seen that much late at most, half of it in the middle.
-- grain: one pump. inputs: reading (pump_id, time_utc, day_local, interval_s, export_id), judged_day, export.
-- parameters: none.
-- columns: pump_id, gap_limit_min [min], that its dialect allows between two rows, and look_min [min]; 0 for means over
--   an interval, whose values say how much of it passed before the change, and for a log of changes.
-- As the log is and not only as it is declared: a logger may be set to look less often, on some days of the week: then
--   the coarsest of its days counts.
with held as (
    select distinct export_id, hold_s, gap_limit_s
    from export
    where status = 'read'
),
looked as (
    select r.pump_id, r.day_local, case when r.interval_s is null then h.hold_s else 0 end as look_s, h.gap_limit_s,
        epoch(r.time_utc - lag(r.time_utc) over (partition by r.pump_id order by r.time_utc)) as step_s
    from reading as r
    join judged_day as j on j.day_local = r.day_local and j.in_week
    join held as h using (export_id)
),
by_day as (
    select pump_id, day_local, max(look_s) as look_s, median(step_s) as step_s, min(gap_limit_s) as gap_limit_s
    from looked
    group by pump_id, day_local
),
look_interval as (
    select pump_id, case when max(look_s) > 0 then greatest(max(look_s), coalesce(max(step_s), 0)) else 0 end / 60.0 as look_min,
        min(gap_limit_s) / 60.0 as gap_limit_min
    from by_day
    group by pump_id
    order by pump_id
)
select * from look_interval
