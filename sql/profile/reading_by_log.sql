-- Readings whose pump has logs of several sources, such as run times here and energy there, under a name of their own for
--   each: what follows each other in two logs are no neighbours.
-- Grain: reading. Inputs: every_reading (columns of readings); export (export_id, source, status); shared_pump (pump_id, source,
--   place: the place of the source in fleet.toml), the logs of the pumps that have several.
-- Output: the columns of readings; pump_id, the unit separator and the place for those pumps.
with source as (
    select every_reading.*, shared_pump.place
    from every_reading
    join (select export_id, source from export where status = 'read') as export using (export_id)
    left join shared_pump on every_reading.pump_id = shared_pump.pump_id and export.source = shared_pump.source
),

reading_by_log as (
    select * exclude (place) replace (if(place is null, pump_id, pump_id || chr(31) || place) as pump_id)
    from source
)

select * from reading_by_log
