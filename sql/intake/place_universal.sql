-- Stamps that name their instant (UTC, an offset, epoch): the beginning that each row describes, and the site's local
--   day.
-- Grain: one row of one export. Inputs: typed_row; pump_era (pump_id, zone, from_utc, to_utc, offset_s): the stretches
--   of one offset of each pump's zone, without hole or overlap over all time; stray_line (pump_id, from_line, to_line),
--   rows whose clock jumped away and returned.
-- Parameters: $shift_s, seconds from the beginning in UTC to the stamp (the interval of interval-ending rows and a
--   fixed offset, else 0).
-- Output: the columns of typed_row; zone, null for a pump not in the register; time_utc; day_local (null outside the
--   years that the eras were asked for); clock_state, always 'once'; time_fault 'time_jumps_and_returns' or null.
with source as (
    select * exclude (stamp), stamp - to_seconds($shift_s) as time_utc from typed_row
),

placed as (
    select
        source.*,
        pump_era.zone,
        (source.time_utc + to_seconds(pump_era.offset_s))::date as day_local,
        'once' as clock_state,
        if(stray_line.pump_id is not null, 'time_jumps_and_returns', null) as time_fault
    from source
    left join pump_era
        on source.pump_id = pump_era.pump_id
        and coalesce(source.time_utc, timestamp '9000-01-01') >= pump_era.from_utc
        and coalesce(source.time_utc, timestamp '9000-01-01') < pump_era.to_utc
    left join stray_line
        on source.pump_id = stray_line.pump_id
        and source.line >= stray_line.from_line
        and source.line <= stray_line.to_line
)

select * from placed
