-- B13: what was drawn in, a pump.
-- Grain: pump. Inputs: straight_line.
-- Output: pump_id, readings (left out), lines, longest_utc (begin of the longest line), longest_min [min], first_day,
--   last_day.
with source as (
    select *, epoch(end_utc - start_utc) / 60 as line_min from straight_line
),

straight_lines as (
    select
        pump_id,
        count(*) as readings,
        count(distinct start_utc) as lines,
        arg_max(start_utc, (line_min, -epoch_us(start_utc))) as longest_utc,
        max(line_min) as longest_min,
        min(day_local) as first_day,
        max(day_local) as last_day
    from source
    group by pump_id
    order by pump_id
)

select * from straight_lines
