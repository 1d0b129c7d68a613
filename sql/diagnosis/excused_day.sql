-- Local days on which a visit explains running off the plan: the day of the work and a day either side.
-- grain: one pump's local day. inputs: visit, pump. parameters: none.
-- columns: pump_id, day_local, work (one of the works on record).
with worked as (
    select site_id, pump_id, day_local, work
    from visit
    where work in ('agreed override', 'vacuum', 'backwash', 'commissioning', 'repair')
),
touched as (
    select p.pump_id, w.day_local + d.shift as day_local, w.work
    from worked as w
    join pump as p on p.site_id = w.site_id and (w.pump_id is null or w.pump_id = '' or w.pump_id = p.pump_id)
    cross join (values (-1), (0), (1)) as d (shift)
),
excused_day as (
    select pump_id, day_local, min(work) as work
    from touched
    group by pump_id, day_local
    order by pump_id, day_local
)
select * from excused_day
