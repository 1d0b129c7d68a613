-- Wall-clock stamps: UTC by the zone's offset, hours that never happened marked, the hour that happens twice told apart
--   by order.
-- Grain: one row of one export. Inputs: typed_row; pump_zone (pump_id, zone);
--   wall_offset (zone, quarter_wall, clock_state 'once'|'twice'|'never', first_offset_s, second_offset_s);
--   utc_offset (zone, quarter_utc, offset_s).
-- Parameters: $shift_s, seconds from the beginning to the stamp; $fixed_zone, the export's own zone, null for the
--   site's; $interval_s, nominal interval between rows, null for changes of state.
-- Output: the columns of typed_row; zone; time_utc (null where the hour never happened); day_local;
--   clock_state: 'once', 'twice' (told apart), 'twice, first taken' (order did not tell) or 'never'.
-- In a repeated hour the stamps of one pump step back once, in file order: rows before the step are the first pass.
-- Where the interval is as long as what is repeated, a pass has one row and the same stamp again is the step. Stamps
-- that step back more than once (a file in falling order, or sent twice) do not tell.
with source as (
    select * from typed_row
),

zoned as (
    select source.*, pump_zone.zone, wall_offset.clock_state, wall_offset.first_offset_s, wall_offset.second_offset_s
    from source
    left join pump_zone using (pump_id)
    left join wall_offset
        on coalesce($fixed_zone, pump_zone.zone) = wall_offset.zone
        and time_bucket(interval 15 minute, source.stamp) = wall_offset.quarter_wall
),

followed as (
    select *, lag(stamp) over (partition by pump_id, stamp::date, clock_state order by line) as stamp_before
    from zoned
),

stepped as (
    select
        *,
        clock_state = 'twice' and coalesce(
            stamp < stamp_before or (stamp = stamp_before and $interval_s >= first_offset_s - second_offset_s), false
        ) as steps_back
    from followed
),

counted as (
    select
        *,
        count(*) filter (steps_back) over (partition by pump_id, stamp::date, clock_state order by line) as steps,
        count(*) filter (steps_back) over (partition by pump_id, stamp::date, clock_state) as steps_in_all
    from stepped
),

passed as (
    select *, steps_in_all = 1 as told_apart, steps_in_all = 1 and steps = 1 as second_pass from counted
),

beginning as (
    select
        * exclude (
            stamp, first_offset_s, second_offset_s, stamp_before, steps_back, steps, steps_in_all, told_apart,
            second_pass, clock_state
        ),
        case when clock_state = 'twice' and not told_apart then 'twice, first taken' else clock_state end
            as clock_state,
        case
            when clock_state = 'never' then null
            else stamp - to_seconds(if(second_pass, second_offset_s, first_offset_s)) - to_seconds($shift_s)
        end as time_utc
    from passed
),

placed as (
    select beginning.*, (beginning.time_utc + to_seconds(utc_offset.offset_s))::date as day_local
    from beginning
    left join utc_offset
        on beginning.zone = utc_offset.zone
        and time_bucket(interval 15 minute, beginning.time_utc) = utc_offset.quarter_utc
)

select * from placed
