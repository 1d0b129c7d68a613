-- Day from which a pump's power may be compared: its last commissioning, or its last repair that changed its power.
-- Grain: one pump that has one. Inputs: past_level (account_tables.LEVELS), pump, visit, judged_day.
-- Parameters: $same_share, a smaller change of power at the same speed is none; $side_days, days with that speed on either
--   side that are compared, within three weeks of the work; $least_days, fewer on a side cannot tell.
-- Columns: pump_id; renewed_day.
-- A breaker that was closed or a lid ring that was replaced leaves the pump what it was, and visits.csv does not say so:
-- the watts do. Where they cannot, the pump counts as another one. A pump that is changed draws otherwise from its first
-- day on: where that day still lies nearer to what was before than to what comes after, something else happened later.
with last_judged as (
    select max(day_local) as last_day from judged_day
),
worked as (
    select pump.pump_id, visit.day_local as work_day, bool_or(visit.work = 'commissioning') as commissioned
    from visit
    join pump on pump.site_id = visit.site_id and coalesce(nullif(visit.pump_id, ''), pump.pump_id) = pump.pump_id
    cross join last_judged
    where visit.work in ('commissioning', 'repair') and visit.day_local <= last_day
    group by pump.pump_id, visit.day_local
),
beside as (
    select
        w.pump_id, w.work_day, l.speed_rpm, l.power_w, l.day_local > w.work_day as later,
        row_number() over (
            partition by w.pump_id, w.work_day, l.speed_rpm, l.day_local > w.work_day
            order by abs(l.day_local - w.work_day)
        ) as place
    from worked as w
    join past_level as l on l.pump_id = w.pump_id
    cross join last_judged
    where not w.commissioned and l.day_local <> w.work_day and abs(l.day_local - w.work_day) <= 21
        and l.day_local <= last_day and l.power_w > 0
),
by_speed as (
    select
        pump_id, work_day, speed_rpm,
        median(power_w) filter (later) as after_w, median(power_w) filter (not later) as before_w,
        any_value(power_w) filter (later and place = 1) as first_w
    from beside
    where place <= $side_days
    group by pump_id, work_day, speed_rpm
    having count(*) filter (later) >= $least_days and count(*) filter (not later) >= $least_days
),
unchanged as (
    select pump_id, work_day
    from by_speed
    group by pump_id, work_day
    having bool_and(abs(after_w / before_w - 1) < $same_share or abs(first_w - before_w) < abs(first_w - after_w))
),
renewed_pump as (
    select w.pump_id, max(w.work_day) as renewed_day
    from worked as w
    anti join unchanged as u on u.pump_id = w.pump_id and u.work_day = w.work_day
    group by w.pump_id
    order by w.pump_id
)
select * from renewed_pump
