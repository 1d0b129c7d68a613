-- Each pump's local day cut into the parts that its plan makes of it, pauses included, in UTC.
-- Grain: pump, local day, part. Inputs: plan_in_force; quarter (zone, day_local, quarter, start_utc, end_utc,
--   clock_min).
-- Output: pump_id, day_local, period (null in a pause), speed_rpm (0 in a pause) [rev/min], start_utc, end_utc.
-- The wall clock rules: in the hour that happens twice a period runs in both passes, in the hour that never happens it
--   does not.
with planned_day as (
    select distinct pump_id, zone, day_local from plan_in_force
),

piece as (
    select
        plan_in_force.pump_id,
        quarter.day_local,
        plan_in_force.period,
        plan_in_force.speed_rpm,
        quarter.start_utc + to_minutes(greatest(plan_in_force.start_min - quarter.clock_min, 0)) as start_utc,
        quarter.start_utc + to_minutes(least(plan_in_force.stop_min - quarter.clock_min, 15)) as end_utc
    from plan_in_force
    join quarter
        on plan_in_force.zone = quarter.zone
        and plan_in_force.day_local = quarter.day_local
        and plan_in_force.start_min < quarter.clock_min + 15
        and plan_in_force.stop_min > quarter.clock_min
),

edge as (
    select pump_id, day_local, start_utc as at_utc from piece
    union
    select pump_id, day_local, end_utc from piece
    union
    select planned_day.pump_id, local_day.day_local, unnest([local_day.start_utc, local_day.end_utc])
    from planned_day join local_day using (zone, day_local)
),

stretch as (
    select pump_id, day_local, at_utc as start_utc, lead(at_utc) over (partition by pump_id, day_local order by at_utc) as end_utc
    from edge
),

filled as (
    select
        stretch.pump_id,
        stretch.day_local,
        piece.period,
        coalesce(piece.speed_rpm, 0) as speed_rpm,
        stretch.start_utc,
        stretch.end_utc
    from stretch
    left join piece
        on stretch.pump_id = piece.pump_id
        and stretch.day_local = piece.day_local
        and stretch.start_utc = piece.start_utc
    where stretch.end_utc is not null
),

marked as (
    select
        *,
        coalesce(period, 0) is distinct from lag(coalesce(period, 0)) over (partition by pump_id, day_local order by start_utc) as begins
    from filled
),

numbered as (
    select *, sum(begins::int) over (partition by pump_id, day_local order by start_utc) as part from marked
),

plan_part as (
    select
        pump_id,
        day_local,
        any_value(period) as period,
        any_value(speed_rpm) as speed_rpm,
        min(start_utc) as start_utc,
        max(end_utc) as end_utc
    from numbered
    group by pump_id, day_local, part
    order by pump_id, start_utc
)

select * from plan_part
