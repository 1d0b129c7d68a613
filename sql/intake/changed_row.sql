-- Placed rows with what a person has confirmed about the log: pumps that were swapped, values to be multiplied.
-- Grain: one data row of one export. Inputs: placed_row; pump_change (pump_id as the export has it, empty for all;
--   from_day, null for every day; becomes_pump_id, null where it stays; speed_factor, power_factor, energy_total_factor,
--   run_total_factor, flow_factor, null for none); several rows that fit multiply.
-- Output: the columns of placed_row.
with source as (
    select * from placed_row
),

pump_day as (
    select distinct pump_id, day_local from source
),

changed_day as (
    select
        pump_day.pump_id,
        pump_day.day_local,
        max(pump_change.becomes_pump_id) as becomes_pump_id,
        product(coalesce(pump_change.speed_factor, 1)) as speed_factor,
        product(coalesce(pump_change.power_factor, 1)) as power_factor,
        product(coalesce(pump_change.energy_total_factor, 1)) as energy_total_factor,
        product(coalesce(pump_change.run_total_factor, 1)) as run_total_factor,
        product(coalesce(pump_change.flow_factor, 1)) as flow_factor
    from pump_day
    join pump_change
        on pump_change.pump_id in (pump_day.pump_id, '')
        and coalesce(pump_day.day_local >= pump_change.from_day, pump_change.from_day is null)
    group by pump_day.pump_id, pump_day.day_local
),

changed_row as (
    select source.* replace (
        coalesce(changed_day.becomes_pump_id, source.pump_id) as pump_id,
        source.speed_rpm * coalesce(changed_day.speed_factor, 1) as speed_rpm,
        source.power_w * coalesce(changed_day.power_factor, 1) as power_w,
        source.energy_total_kwh * coalesce(changed_day.energy_total_factor, 1) as energy_total_kwh,
        source.run_total_h * coalesce(changed_day.run_total_factor, 1) as run_total_h,
        source.flow_m3h * coalesce(changed_day.flow_factor, 1) as flow_m3h
    )
    from source
    left join changed_day
        on source.pump_id = changed_day.pump_id and source.day_local is not distinct from changed_day.day_local
)

select * from changed_row
