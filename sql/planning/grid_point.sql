-- Grid speeds that may be keyed in, with what a plan needs of them.
-- grain: one pump and speed. inputs: speed_grid. parameters: $least_rpm, $most_rpm [rev/min].
-- columns: pump_id, speed_rpm, flow_m3h_lo, flow_m3h_hi [m3/h], power_w_mid [W]; null where the grid has none.
with grid_point as (
    select pump_id, speed_rpm, flow_m3h_lo, flow_m3h_hi, power_w_mid
    from speed_grid
    where speed_rpm between $least_rpm and $most_rpm and speed_rpm % 25 = 0
    order by pump_id, speed_rpm
)
select * from grid_point
