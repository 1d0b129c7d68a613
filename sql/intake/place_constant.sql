-- Stamps that name their instant, in a file all of whose pumps lie in one zone that keeps one offset while it lasts.
-- Grain: one row of one export. Inputs: typed_row.
-- Parameters: $shift_s, seconds from the beginning to the stamp; $zone; $offset_s, its offset from UTC [s].
-- Output: as place_universal.sql, which places every other file. Whether each pump is in the register and in $zone is
--   checked on the pumps afterwards, which costs less than a join on each row.
with source as (
    select * exclude (stamp), stamp - to_seconds($shift_s) as time_utc from typed_row
),

placed as (
    select *, $zone as zone, (time_utc + to_seconds($offset_s))::date as day_local, 'once' as clock_state from source
)

select * from placed
