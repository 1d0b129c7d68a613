-- Quarter hours of the wall clock in which an auxiliary load was on as a habit, learned before its latest valid days.
-- grain: one pump and wall clock quarter. inputs: profile, daily, judged_day, pump_fact.
-- parameters: $learned_days (least earlier days with the load on), $recent_days (the latest valid days, not learned
--   from). columns: pump_id, clock_local (HH:MM), on_days, usual_min (middle minutes on of the earlier days) [min].
-- On means ten minutes of fifteen; a habit, four of five earlier days (common practice, no source). Days after the last
-- with the load on teach no habit: since then it may have failed.
with valid_day as (
    select d.pump_id, d.day_local, row_number() over (partition by d.pump_id order by d.day_local desc) as age
    from daily as d
    join judged_day using (day_local)
    join pump_fact as f on f.pump_id = d.pump_id and f.aux_load <> 'none'
    where d.valid
),
earlier as (
    select p.pump_id, p.day_local, p.clock_local, sum(p.aux_min order by p.quarter) as aux_min
    from valid_day as v
    join profile as p on p.pump_id = v.pump_id and p.day_local = v.day_local
    where v.age > $recent_days and p.aux_min is not null
    group by p.pump_id, p.day_local, p.clock_local
),
by_day as (
    select pump_id, day_local, sum(aux_min order by clock_local) as aux_min
    from earlier
    group by pump_id, day_local
),
last_on as (
    select pump_id, max(day_local) as day_local
    from by_day
    where aux_min > 0
    group by pump_id
),
usual as (
    select b.pump_id, count(*) as earlier_days, median(b.aux_min) as usual_min
    from by_day as b
    join last_on as l on l.pump_id = b.pump_id and b.day_local <= l.day_local
    group by b.pump_id
),
on_quarter as (
    select pump_id, clock_local, count(*) as on_days
    from earlier
    where aux_min >= 10
    group by pump_id, clock_local
),
aux_window as (
    select q.pump_id, q.clock_local, q.on_days, u.usual_min
    from on_quarter as q
    join usual as u using (pump_id)
    where q.on_days >= $learned_days and q.on_days >= 0.8 * u.earlier_days
    order by q.pump_id, q.clock_local
)
select * from aux_window
