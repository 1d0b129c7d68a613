-- Wall-clock stamps: UTC by the offset that the clock on the wall, and the order of the rows, give; times that never
--   happened and hours that happen twice marked.
-- Grain: one row of one export. Inputs: typed_row; wall_era (pump_id, zone, from_wall, to_wall, clock_state 'once',
--   'twice' or 'never', offset_s: the first pass's where twice, null where never): stretches of the wall clock by pump,
--   without hole or overlap over all time, zone being the site's; clock_run (pump_id, from_line, to_line, from_wall,
--   to_wall, offset_s, clock_state): what the order of the rows tells, no two of a pump overlapping; pump_era (pump_id,
--   from_utc, to_utc, offset_s): stretches of one offset of the site's zone; stray_line (pump_id, from_line, to_line).
-- Parameters: $shift_s, seconds from the beginning to the stamp.
-- Output: the columns of typed_row; zone, null for a pump not in the register; time_utc (null where the time never
--   happened); day_local; clock_state: 'once'; 'twice' (told apart); 'twice, first taken' (order did not tell);
--   'never'; 'late change' (still on the old offset), 'early change' (already on the new); 'late change, not sure'
--   (which of the two the rows do not prove); time_fault 'time_jumps_and_returns' or null.
with source as (
    select * from typed_row
),

zoned as (
    select
        source.*,
        wall_era.zone,
        wall_era.clock_state as wall_state,
        wall_era.offset_s as wall_offset_s,
        clock_run.clock_state as told_state,
        clock_run.offset_s as told_offset_s,
        if(stray_line.pump_id is not null, 'time_jumps_and_returns', null) as time_fault
    from source
    left join wall_era
        on source.pump_id = wall_era.pump_id
        and coalesce(source.stamp, timestamp '9000-01-01') >= wall_era.from_wall
        and coalesce(source.stamp, timestamp '9000-01-01') < wall_era.to_wall
    left join clock_run
        on source.pump_id = clock_run.pump_id
        and source.line >= clock_run.from_line
        and source.line <= clock_run.to_line
        and source.stamp >= clock_run.from_wall
        and source.stamp < clock_run.to_wall
    left join stray_line
        on source.pump_id = stray_line.pump_id
        and source.line >= stray_line.from_line
        and source.line <= stray_line.to_line
),

beginning as (
    select
        * exclude (stamp, wall_state, wall_offset_s, told_state, told_offset_s),
        stamp - to_seconds(coalesce(told_offset_s, wall_offset_s)) - to_seconds($shift_s) as time_utc,
        case
            when wall_state = 'twice' and told_offset_s is not null then 'twice'
            when wall_state = 'twice' then 'twice, first taken'
            when wall_state = 'never' and told_offset_s is null then 'never'
            else coalesce(told_state, wall_state)
        end as clock_state
    from zoned
),

placed as (
    select beginning.*, (beginning.time_utc + to_seconds(pump_era.offset_s))::date as day_local
    from beginning
    left join pump_era
        on beginning.pump_id = pump_era.pump_id
        and beginning.time_utc >= pump_era.from_utc
        and beginning.time_utc < pump_era.to_utc
)

select * from placed
