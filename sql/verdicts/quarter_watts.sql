-- Mean wire power of quarter hours, from logged power or from the energy counter, as cells of an array (pumps, days,
--   100).
-- Grain: pump, local day, quarter with a power. Inputs: pump_quarter; counter_hour; quarter_cell. Output: cell, value
--   [W].
-- A counter gives the mean of an hour to each of its quarters: it is too coarse for one of them alone, and only hours
--   at one speed are used.
with counted as (
    select
        pump_id,
        hour,
        lead(first_value) over hours - first_value as rise_kwh,
        epoch_ms(lead(first_utc) over hours) - epoch_ms(first_utc) as passed_ms
    from counter_hour
    where counter = 'energy_total'
    window hours as (partition by pump_id order by hour)
),

hourly as (
    select pump_id, hour, rise_kwh / passed_ms * 3.6e9 as power_w
    from counted
    where rise_kwh >= 0 and passed_ms <= 7_200_000
),

quarter_watts as (
    select
        quarter_cell.first_cell + pump_quarter.quarter as cell,
        coalesce(pump_quarter.power_w, hourly.power_w) as value
    from pump_quarter
    join quarter_cell using (pump_id, day_local)
    left join hourly
        on pump_quarter.pump_id = hourly.pump_id and epoch_us(pump_quarter.start_utc) // 3_600_000_000 = hourly.hour
    where coalesce(pump_quarter.power_w, hourly.power_w) is not null
)

select * from quarter_watts
