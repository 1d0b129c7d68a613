-- Pumps that an export names, in the register or not: when the register's view of one changes, the export is read
--   again.
-- Grain: pump. Inputs: tally. Output: pump_id.
with source as (
    select pump_id from tally where pump_id is not null and fate <> 'rejects'
),

pumps_seen as (
    select distinct pump_id from source order by pump_id
)

select * from pumps_seen
