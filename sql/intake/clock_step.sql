-- Steps between neighbouring rows that a clock which runs on would not make.
-- Grain: one row and the one before it. Inputs: ordered_row; skipped_row (columns of skipped_rows.sql).
-- Parameters: $interval_s, nominal interval, null for changes of state; $tolerance_s, how far stamps may lie off it
--   [s]; $least_s, the smallest change of clocks near the rows, null where none is near [s]; $restart_s and $far_s,
--   steps back and forward that no change of clocks makes [s]; $most, a pump with more such steps is left out: its
--   order tells nothing.
-- Output: pump_id, nth, line, line_before, stamp, stamp_before, step_s.
-- Near a change count all steps back, steps shorter than the interval by the change where the interval is longer, and,
--   of pumps with rows at skipped times, steps forward by the change or more and any odd step into or out of such rows.
with source as (
    select * from ordered_row where step_s is not null
),

unusual as (
    select pump_id, nth::bigint as nth, line, line_before, stamp, stamp_before, step_s
    from source
    where
        step_s <= -$restart_s
        or step_s >= $far_s
        or (
            $least_s is not null
            and abs(step_s - coalesce($interval_s, -1e9)) > $tolerance_s
            and (
                step_s < -$tolerance_s
                or coalesce(step_s <= $interval_s - $least_s + $tolerance_s, false)
                or (step_s >= $least_s - $tolerance_s and pump_id in (select pump_id from skipped_row))
                or (pump_id, nth) in (select (pump_id, first_nth) from skipped_row)
                or (pump_id, nth) in (select (pump_id, last_nth + 1) from skipped_row)
            )
        )
),

clock_step as (
    select * from unusual qualify count(*) over (partition by pump_id) <= $most order by pump_id, nth
)

select * from clock_step
