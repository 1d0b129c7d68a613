-- Values that are no measurement, under the names of the logs that they stand in.
-- Grain: pump, instant, quantity. Inputs: bad_value (pump_id, time_utc, quantity); pump_source (pump_id, source: the log
--   that was judged); shared_pump (pump_id, source, place). Output: the columns of bad_value.
with source as (
    select bad_value.*, shared_pump.place
    from bad_value
    left join pump_source using (pump_id)
    left join shared_pump on bad_value.pump_id = shared_pump.pump_id and pump_source.source = shared_pump.source
),

bad_value_by_log as (
    select if(place is null, pump_id, pump_id || chr(31) || place) as pump_id, time_utc, quantity from source
)

select * from bad_value_by_log
