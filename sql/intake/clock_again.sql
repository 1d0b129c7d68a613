-- What follows a step back of a pump's clock: rows at stamps that were there before, and whether they say the same.
-- Grain: step. Inputs: ordered_row; back_step (pump_id, nth, since_nth, until_nth, from_stamp, to_stamp): the step's
--   row, the numbers and the stamps between which rows count, to_stamp being that of the row before the step.
-- Parameters: $tolerance_s, how far two stamps may differ to be the same [s].
-- Output: pump_id, nth; below, rows from the step on until the clock has passed to_stamp; again, those of them whose
--   stamp was there before; differ, those of the latter that say something else than the rows before.
with source as (
    select * from back_step
),

passing as (
    select source.pump_id, source.nth, min(ordered_row.nth) as passed_nth
    from source
    join ordered_row
        on source.pump_id = ordered_row.pump_id
        and ordered_row.nth > source.nth
        and ordered_row.nth <= source.until_nth
        and ordered_row.stamp > source.to_stamp + to_seconds($tolerance_s)
    group by source.pump_id, source.nth
),

after as (
    select source.pump_id, source.nth, ordered_row.nth as row_nth, ordered_row.stamp, ordered_row.said
    from source
    left join passing on source.pump_id = passing.pump_id and source.nth = passing.nth
    join ordered_row
        on source.pump_id = ordered_row.pump_id
        and ordered_row.nth >= source.nth
        and ordered_row.nth < coalesce(passing.passed_nth, source.until_nth + 1)
),

before as (
    select source.pump_id, source.nth, ordered_row.stamp, ordered_row.said
    from source
    join ordered_row
        on source.pump_id = ordered_row.pump_id
        and ordered_row.nth < source.nth
        and ordered_row.nth >= source.since_nth
        and ordered_row.stamp >= source.from_stamp - to_seconds($tolerance_s)
        and ordered_row.stamp <= source.to_stamp
),

compared as (
    select
        after.pump_id,
        after.nth,
        after.row_nth,
        count(before.stamp) > 0 as again,
        coalesce(bool_or(before.said = after.said), false) as same
    from after
    left join before
        on after.pump_id = before.pump_id
        and after.nth = before.nth
        and before.stamp between after.stamp - to_seconds($tolerance_s) and after.stamp + to_seconds($tolerance_s)
    group by after.pump_id, after.nth, after.row_nth
),

clock_again as (
    select
        pump_id,
        nth::bigint as nth,
        count(*) as below,
        count(*) filter (again) as again,
        count(*) filter (again and not same) as differ
    from compared
    group by pump_id, nth
    order by pump_id, nth
)

select * from clock_again
