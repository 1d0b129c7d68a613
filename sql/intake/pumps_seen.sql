-- Pumps that an export names, in the register or not: when the register's view of one changes, the export is read
--   again.
-- Grain: pump. Inputs: typed_row. Output: pump_id.
with source as (
    select pump_id from typed_row where pump_id is not null and fault is null
),

pumps_seen as (
    select distinct pump_id from source order by pump_id
)

select * from pumps_seen
