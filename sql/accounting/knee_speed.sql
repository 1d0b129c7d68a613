-- The speed below which slower costs more per litre, on the flow and power curves within the speeds that a pump held.
-- Grain: one pump that held at least one steady speed.
-- Inputs: speed_grid (tables.SPEED_GRID), efficiency (tables.EFFICIENCY), rest_power (pump_id, standby_w [W]).
-- Parameters: $knee_rise least share by which the slowest speed must cost more than the knee for a knee to be told.
-- Columns: pump_id; standby_w [W]; knee_state; knee_speed_rpm_lo, _mid, _hi [rev/min]: the least, the middle and the
--   highest of the knees by the low, mid and high flow.
-- Cost of a litre is what running adds: (power running - power at rest) / flow, for the pump draws its standby whether
-- it runs or waits. Least cost of a day's fixed volume lies at the same speed. Where the power at rest is not logged it
-- counts as 0, which puts the knee too high rather than too low. A speed that moves no water costs without end.
with reach as (
    select pump_id, min(speed_rpm) as slowest_rpm, max(speed_rpm) as fastest_rpm, bool_or(gate = 'refused') as refused
    from efficiency
    group by pump_id
),
curve as (
    select
        reach.pump_id, grid.speed_rpm, grid.power_w_mid - coalesce(rest_power.standby_w, 0) as added_w,
        unnest(['lo', 'mid', 'hi']) as bound,
        unnest([grid.flow_m3h_lo, grid.flow_m3h_mid, grid.flow_m3h_hi]) as flow_m3h
    from reach
    join speed_grid as grid
        on grid.pump_id = reach.pump_id and grid.speed_rpm between reach.slowest_rpm and reach.fastest_rpm
    left join rest_power on rest_power.pump_id = reach.pump_id
    where grid.power_w_mid is not null
        and grid.flow_m3h_lo is not null and grid.flow_m3h_mid is not null and grid.flow_m3h_hi is not null
),
cost as (
    select *, if(flow_m3h > 0, added_w / flow_m3h, cast('infinity' as double)) as wh_per_m3
    from curve
),
ends as (
    select
        pump_id, bound,
        arg_min(speed_rpm, (wh_per_m3, speed_rpm)) as knee_rpm,
        min(wh_per_m3) as least,
        arg_min(wh_per_m3, speed_rpm) as at_slowest,
        min(added_w) as least_added_w,
        min(speed_rpm) as first_rpm,
        max(speed_rpm) as last_rpm
    from cost
    group by pump_id, bound
),
told as (
    select
        *,
        case
            when least_added_w <= 0 then 'no wire power'
            when isinf(least) then 'no water'
            when last_rpm - first_rpm < 100 then 'one speed'
            when not at_slowest > least * (1 + $knee_rise) then 'none'
            when knee_rpm = last_rpm then 'above'
            else 'knee'
        end as kind
    from ends
),
by_pump as (
    select
        pump_id,
        max(kind) filter (bound = 'mid') as kind,
        count(distinct kind) as kinds,
        min(knee_rpm) as low_rpm,
        max(knee_rpm) filter (bound = 'mid') as mid_rpm,
        max(knee_rpm) as high_rpm
    from told
    group by pump_id
),
knee_speed as (
    select
        reach.pump_id,
        rest_power.standby_w,
        case
            when reach.refused then 'not possible by physics'
            when by_pump.pump_id is null then 'flow or power curve missing'
            when kind = 'no wire power' then 'power running is not above power at rest'
            when kinds > 1 then 'cannot tell within the flow band'
            when kind = 'no water' then 'no water moved at any speed held'
            when kind = 'one speed' then 'speeds held too close together'
            when kind = 'none' then 'none within the speeds seen'
            when kind = 'above' then 'above the speeds seen'
            else 'given'
        end as knee_state,
        if(knee_state = 'given', low_rpm, null) as knee_speed_rpm_lo,
        if(knee_state = 'given', mid_rpm, null) as knee_speed_rpm_mid,
        if(knee_state = 'given', high_rpm, null) as knee_speed_rpm_hi
    from reach
    left join by_pump on by_pump.pump_id = reach.pump_id
    left join rest_power on rest_power.pump_id = reach.pump_id
    order by reach.pump_id
)
select * from knee_speed
