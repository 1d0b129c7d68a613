-- The pumps of an export whose clock can be looked at.
-- Grain: pump. Inputs: ordered_row.
-- Parameters: $tolerance_s, how far a stamp may step back by jitter [s].
-- Output: pump_id; way; rows; backs, rows that step back; first and last number (nth) and stamp in the order of the
--   pump's clock.
with source as (
    select * from ordered_row
),

clock_pump as (
    select
        pump_id,
        any_value(way)::bigint as way,
        count(*) as rows,
        count(*) filter (step_s < -$tolerance_s) as backs,
        min(nth)::bigint as first_nth,
        max(nth)::bigint as last_nth,
        arg_min(stamp, nth) as first_stamp,
        arg_max(stamp, nth) as last_stamp
    from source
    group by pump_id
    order by pump_id
)

select * from clock_pump
