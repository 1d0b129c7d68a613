-- Pumps that have quarter hours, in the order of their arrays.
-- Grain: pump. Inputs: pump_quarter. Output: pump_id, source, zone.
with quarter_pump as (
    select distinct pump_id, source, zone from pump_quarter
)

select * from quarter_pump order by pump_id
