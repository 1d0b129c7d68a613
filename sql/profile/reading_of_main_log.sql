-- Readings less those of a pump's other logs: what is judged of a log is judged of the one that says most of the pump.
-- Grain: reading. Inputs: every_reading (columns of readings); export (export_id, source, status); pump_source (pump_id, source:
--   that of most of the pump's readings). Output: the columns of readings.
with source as (
    select every_reading.*, export.source
    from every_reading
    join (select export_id, source from export where status = 'read') as export using (export_id)
),

reading_of_main_log as (
    select source.* exclude (source)
    from source join pump_source on source.pump_id = pump_source.pump_id and source.source = pump_source.source
)

select * from reading_of_main_log
