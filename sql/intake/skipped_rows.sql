-- Rows stamped at times that the clock on the wall skipped, in stretches without another row between.
-- Grain: stretch. Inputs: ordered_row; skipped_hour (pump_id, from_wall, to_wall).
-- Parameters: $interval_s, nominal interval, null for changes of state; $tolerance_s, how far stamps may lie off it
--   [s].
-- Output: pump_id; from_wall, of the skipped times; first_nth, last_nth; rows; plain, those one interval after the row
--   before.
with source as (
    select ordered_row.pump_id, ordered_row.nth, ordered_row.step_s, skipped_hour.from_wall
    from ordered_row
    join skipped_hour
        on ordered_row.pump_id = skipped_hour.pump_id
        and ordered_row.stamp >= skipped_hour.from_wall
        and ordered_row.stamp < skipped_hour.to_wall
),

numbered as (
    select *, nth - row_number() over (partition by pump_id, from_wall order by nth) as stretch from source
),

skipped_rows as (
    select
        pump_id,
        from_wall,
        min(nth)::bigint as first_nth,
        max(nth)::bigint as last_nth,
        count(*) as rows,
        count(*) filter (abs(step_s - $interval_s) <= $tolerance_s) as plain
    from numbered
    group by pump_id, from_wall, stretch
    order by pump_id, from_wall, first_nth
)

select * from skipped_rows
