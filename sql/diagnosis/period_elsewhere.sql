-- How long each planned speed runs where the plan asks for another: a step that was moved, not dropped or cut short.
-- grain: one pump's local day and planned period. inputs: keyed_day, keyed_period, span. parameters: $near_rpm [rev/min].
-- columns: pump_id, day_local, period, elsewhere_min [min]; no row where it never runs elsewhere.
with period_elsewhere as (
    select d.pump_id, d.day_local, k.period, sum(s.duration_min order by s.start_utc) as elsewhere_min
    from keyed_day as d
    join keyed_period as k using (pump_id)
    join span as s on s.pump_id = d.pump_id and s.day_local = d.day_local
    where s.kind = 'run' and abs(s.speed_rpm - k.speed_rpm) <= $near_rpm
        and abs(coalesce(s.planned_speed_rpm, 0) - k.speed_rpm) > $near_rpm
    group by d.pump_id, d.day_local, k.period
)
select * from period_elsewhere
