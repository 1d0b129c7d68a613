-- Speed that the plan in force asks for in each quarter hour, taken at the middle of the quarter.
-- Grain: pump, local day, quarter. Inputs: plan_part; quarter; pump; site.
-- Output: pump_id, day_local, quarter, planned_speed_rpm (0 in a pause) [rev/min], period (null in a pause).
with source as (
    select pump.pump_id, quarter.day_local, quarter.quarter, quarter.start_utc + interval 450 second as middle_utc
    from pump join site using (site_id) join quarter using (zone)
),

plan_slot as (
    select source.pump_id, source.day_local, source.quarter, plan_part.speed_rpm as planned_speed_rpm, plan_part.period
    from source
    join plan_part
        on source.pump_id = plan_part.pump_id
        and source.day_local = plan_part.day_local
        and source.middle_utc >= plan_part.start_utc
        and source.middle_utc < plan_part.end_utc
    order by source.pump_id, source.day_local, source.quarter
)

select * from plan_slot
