-- Grid speeds that may be keyed in, with the bounds of flow and power that a plan is judged by.
-- grain: one pump and speed. inputs: speed_grid. parameters: $least_rpm, $most_rpm [rev/min].
-- columns: pump_id, speed_rpm, flow_m3h_lo, _mid, _hi [m3/h], power_w_lo, _mid, _hi [W]; null where the grid has none.
with grid_band as (
    select pump_id, speed_rpm, flow_m3h_lo, flow_m3h_mid, flow_m3h_hi, power_w_lo, power_w_mid, power_w_hi
    from speed_grid
    where speed_rpm between $least_rpm and $most_rpm and speed_rpm % 25 = 0
    order by pump_id, speed_rpm
)
select * from grid_band
