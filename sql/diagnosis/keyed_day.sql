-- Days on which the plan that is keyed in now can be held against what ran: the newest valid days under it that no
--   visit excuses.
-- grain: one pump's local day. inputs: daily, judged_day, plan, excused_day. parameters: $of_days (newest valid days).
-- columns: site_id, pump_id, day_local, day_min [min].
-- The day on which a plan was keyed in is left out: until some hour of it the older plan ran.
with last_day as (
    select max(day_local) as last_day
    from judged_day
),
in_force as (
    select p.pump_id, max(p.valid_from) as valid_from
    from plan as p
    join last_day as l on p.valid_from <= l.last_day
    group by p.pump_id
),
keyed_day as (
    select d.site_id, d.pump_id, d.day_local, d.day_min
    from daily as d
    join judged_day using (day_local)
    join in_force as f on f.pump_id = d.pump_id and d.day_local > f.valid_from
    anti join excused_day as x on x.pump_id = d.pump_id and x.day_local = d.day_local
    where d.valid
    qualify row_number() over (partition by d.pump_id order by d.day_local desc) <= $of_days
)
select * from keyed_day
