-- Daily power at held speeds since a pump was last put in or repaired, with the site's own last cleaning before it.
-- Grain: one pump, local day and speed. Inputs: past_level (account_tables.LEVELS), pump, visit, judged_day, renewed_pump,
--   past_finding.
-- Parameters: none.
-- Columns: site_id; pump_id; day_local; speed_rpm [rev/min]; power_w [W]; run_min [min]; since_day, last cleaning or
--   backwash on record, null where none before; day (days since the first day of all).
-- Days on which the log was told to be another pump's, or its power wrong by a factor, are of no use beside the others.
-- Levels before `renewed_pump` says are of another machine; the day of any work on the pump is of two states and is left
-- out.
with worked as (
    select distinct pump.pump_id, visit.day_local, visit.work
    from visit
    join pump on pump.site_id = visit.site_id and coalesce(nullif(visit.pump_id, ''), pump.pump_id) = pump.pump_id
    where visit.work in ('commissioning', 'repair', 'cleaning', 'backwash')
),
doubted as (
    select distinct component as pump_id, first_day, last_day
    from past_finding
    where rule_id in ('B3', 'B4', 'B10', 'B11') and verdict = 'found'
),
last_judged as (
    select max(day_local) as last_day from judged_day
),
cleaned as (
    select distinct pump_id, day_local from worked where work in ('cleaning', 'backwash')
),
since as (
    select l.*, c.day_local as since_day
    from past_level as l
    asof left join cleaned as c on l.pump_id = c.pump_id and l.day_local >= c.day_local
),
freed_row as (
    select
        pump.site_id, s.pump_id, s.day_local, s.speed_rpm, s.power_w, s.run_min, s.since_day,
        date_diff('day', min(s.day_local) over (), s.day_local) as day
    from since as s
    join pump using (pump_id)
    cross join last_judged
    left join renewed_pump as r using (pump_id)
    anti join worked as w on w.pump_id = s.pump_id and w.day_local = s.day_local
    anti join doubted as d on d.pump_id = s.pump_id and s.day_local between d.first_day and d.last_day
    where s.power_w > 0 and s.day_local <= last_day and s.day_local > coalesce(r.renewed_day, '-infinity'::date)
    order by s.pump_id, s.speed_rpm, s.day_local
)
select * from freed_row
