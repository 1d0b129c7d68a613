-- What a column may hold in place of its declared unit.
-- Grain: pump, quantity, unit that it may be. Inputs: pump.
-- Output: pump_id, quantity, factor (what cures it), cure (the remedy), looks (the words for it).
-- Exact: 1 kWh is 3.6 MJ, a US gallon 3.785411784 L. A motor turns at full speed at the frequency of the mains, 60 or
--   50 Hz.
with source as (
    select pump_id, full_speed_rpm from pump
),

unit(quantity, factor, looks) as (
    values
        ('power', 1000.0, 'kW'),
        ('power', 0.001, 'mW, or W declared as kW'),
        ('energy_total', 1000.0, 'MWh'),
        ('energy_total', 0.001, 'Wh'),
        ('energy_total', 1 / 3.6, 'MJ'),
        ('energy_total', 1 / 3600.0, 'kJ'),
        ('energy_total', 1 / 3.6e6, 'J'),
        ('run_total', 1 / 60.0, 'minutes'),
        ('run_total', 1 / 3600.0, 'seconds'),
        ('run_total', 60.0, 'hours declared as minutes'),
        ('run_total', 3600.0, 'hours declared as seconds'),
        ('flow', 0.003785411784 * 60, 'gpm declared as m3/h'),
        ('flow', 0.06, 'L/min declared as m3/h'),
        ('flow', 3.6, 'L/s declared as m3/h'),
        ('flow', 1 / (0.003785411784 * 60), 'm3/h declared as gpm'),
        ('flow', 1 / 3.785411784, 'L/min declared as gpm'),
        ('flow', 60 / 3.785411784, 'L/s declared as gpm'),
        ('flow', 1 / 0.06, 'm3/h declared as L/min'),
        ('flow', 3.785411784, 'gpm declared as L/min'),
        ('flow', 60.0, 'L/s declared as L/min'),
        ('flow', 1 / 3.6, 'm3/h declared as L/s'),
        ('flow', 3.785411784 / 60, 'gpm declared as L/s'),
        ('flow', 1 / 60.0, 'L/min declared as L/s')
),

fixed as (
    select pump_id, quantity, factor, quantity || ' x' || format('{:.12g}', factor) as cure, looks
    from source cross join unit
),

turned as (
    select
        pump_id,
        full_speed_rpm / 100 as factor,
        format('speed percent of {:.12g}', full_speed_rpm) as cure,
        'percent of full speed' as looks
    from source
    union all
    select pump_id, full_speed_rpm / 60, format('speed x{:.12g}', full_speed_rpm / 60), 'Hz of 60' from source
    union all
    select pump_id, full_speed_rpm / 50, format('speed x{:.12g}', full_speed_rpm / 50), 'Hz of 50' from source
),

unit_factor as (
    select * from fixed
    union all
    select pump_id, 'speed', factor, cure, looks from turned
)

select * from unit_factor
