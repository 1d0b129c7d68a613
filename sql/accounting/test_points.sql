-- The two test points of the federal pool-pump method on each pump's own system: the lowest speeds that give the
-- method's flows, with flow and wire power there.
-- Grain: one pump with a test flow.
-- Inputs: test_flow (pump_id, low_flow_m3h, high_flow_m3h [m3/h]), speed_grid (tables.SPEED_GRID).
-- Parameters: none.
-- Columns: pump_id; weighted_state: given, or what is missing; low_speed_rpm, high_speed_rpm [rev/min], null where the
--   system never gives the flow; for low and high: flow_lo, _mid, _hi [m3/h] and power_lo, _mid, _hi [W].
-- Power is read off the pump's own curve, which holds within the speeds metered and nowhere else: a test speed outside
-- them has no power, and then there is no weighted factor.
with reached as (
    select
        test_flow.pump_id,
        bool_or(grid.flow_m3h_mid > 0) as any_flow,
        min(grid.speed_rpm) filter (grid.flow_m3h_mid >= test_flow.low_flow_m3h) as low_speed_rpm,
        min(grid.speed_rpm) filter (grid.flow_m3h_mid >= test_flow.high_flow_m3h) as high_speed_rpm
    from test_flow
    left join speed_grid as grid using (pump_id)
    group by test_flow.pump_id
),
read_off as (
    select
        reached.*,
        low.flow_m3h_lo as low_flow_lo, low.flow_m3h_mid as low_flow_mid, low.flow_m3h_hi as low_flow_hi,
        low.power_w_lo as low_power_lo, low.power_w_mid as low_power_mid, low.power_w_hi as low_power_hi,
        high.flow_m3h_lo as high_flow_lo, high.flow_m3h_mid as high_flow_mid, high.flow_m3h_hi as high_flow_hi,
        high.power_w_lo as high_power_lo, high.power_w_mid as high_power_mid, high.power_w_hi as high_power_hi
    from reached
    left join speed_grid as low on low.pump_id = reached.pump_id and low.speed_rpm = reached.low_speed_rpm
    left join speed_grid as high on high.pump_id = reached.pump_id and high.speed_rpm = reached.high_speed_rpm
),
test_points as (
    select
        case
            when not coalesce(any_flow, false) then 'no flow source'
            when low_speed_rpm is null and high_speed_rpm is null then 'neither flow reached on this system'
            when low_speed_rpm is null then 'low flow not reached on this system'
            when high_speed_rpm is null then 'high flow not reached on this system'
            when low_power_mid is null and high_power_mid is null then 'neither speed within the speeds metered'
            when low_power_mid is null then 'low speed not within the speeds metered'
            when high_power_mid is null then 'high speed not within the speeds metered'
            else 'given'
        end as weighted_state,
        * exclude (any_flow)
    from read_off
    order by pump_id
)
select * from test_points
