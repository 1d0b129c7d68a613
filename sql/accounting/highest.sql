-- The most that a pump may have done in time that nobody saw and no plan describes: its highest speed, flow and power.
-- Grain: one pump.
-- Inputs: pump, span_estimate, speed_grid (tables.SPEED_GRID).
-- Parameters: none.
-- Columns: pump_id; speed_rpm highest speed seen, full speed where none was [rev/min];
--   flow_m3h_hi most flow at that speed [m3/h]; null no flow source; power_w_hi most wire power there [W]; null no
--   source.
-- Both are the greatest of what was seen and what the speed grid says up to that speed. Where the highest speed itself
-- has no value, the value of the highest speed that has one is stretched: flow with speed, power with its cube.
-- Assumptions that only widen a bound.
with seen as (
    select
        pump_id,
        max(speed_rpm) as speed_rpm,
        max(volume_m3_hi * 60 / duration_min) as flow_m3h_hi,
        max(speed_rpm) filter (volume_m3_hi is not null) as flow_rpm,
        max(power_w_hi) as power_w_hi,
        max(speed_rpm) filter (power_w_hi is not null) as power_rpm
    from span_estimate
    where kind = 'run'
    group by pump_id
),
speeds as (
    select
        pump.pump_id, coalesce(seen.speed_rpm, pump.full_speed_rpm) as speed_rpm,
        seen.flow_m3h_hi, seen.flow_rpm, seen.power_w_hi, seen.power_rpm
    from pump
    left join seen using (pump_id)
),
grid as (
    select
        speeds.pump_id,
        max(speed_grid.flow_m3h_hi) as flow_m3h_hi,
        max(speed_grid.speed_rpm) filter (speed_grid.flow_m3h_hi is not null) as flow_rpm,
        max(speed_grid.power_w_hi) as power_w_hi,
        max(speed_grid.speed_rpm) filter (speed_grid.power_w_hi is not null) as power_rpm
    from speeds
    join speed_grid on speed_grid.pump_id = speeds.pump_id and speed_grid.speed_rpm < speeds.speed_rpm + 25
    group by speeds.pump_id
),
known as (
    select
        speeds.pump_id, speeds.speed_rpm,
        greatest(speeds.flow_m3h_hi, grid.flow_m3h_hi) as flow_m3h_hi,
        greatest(speeds.flow_rpm, grid.flow_rpm) as flow_rpm,
        greatest(speeds.power_w_hi, grid.power_w_hi) as power_w_hi,
        greatest(speeds.power_rpm, grid.power_rpm) as power_rpm
    from speeds
    left join grid using (pump_id)
),
highest as (
    select
        pump_id,
        speed_rpm,
        -- A grid that knows only standstill knows no flow.
        case
            when flow_rpm > 0 then flow_m3h_hi * greatest(speed_rpm / flow_rpm, 1)
            when flow_rpm is null then flow_m3h_hi  -- metered, and no speed logged
        end as flow_m3h_hi,
        power_w_hi * pow(greatest(speed_rpm / power_rpm, 1), 3) as power_w_hi
    from known
    order by pump_id
)
select * from highest
