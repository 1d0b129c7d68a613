-- Stamps that name their instant (UTC, an offset, epoch seconds): the beginning that each row describes, and the site's
--   local day.
-- Grain: one row of one export. Inputs: typed_row; pump_zone (pump_id, zone); utc_offset (zone, quarter_utc, offset_s).
-- Parameters: $shift_s, seconds from the beginning to the stamp (the interval of interval-ending rows, else 0).
-- Output: the columns of typed_row; zone, null for a pump not in the register; time_utc; day_local; clock_state, always
--   'once'.
with source as (
    select * exclude (stamp), stamp - to_seconds($shift_s) as time_utc from typed_row
),

placed as (
    select
        source.*,
        pump_zone.zone,
        (source.time_utc + to_seconds(utc_offset.offset_s))::date as day_local,
        'once' as clock_state
    from source
    left join pump_zone using (pump_id)
    left join utc_offset
        on pump_zone.zone = utc_offset.zone
        and time_bucket(interval 15 minute, source.time_utc) = utc_offset.quarter_utc
)

select * from placed
