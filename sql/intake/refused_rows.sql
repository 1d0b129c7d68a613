-- The rows of an export that are no readings.
-- Grain: one row. Inputs: judged_row. Output: export_id, line, pump_id, fate, rule, reason (detail of a reject, else
--   null), raw.
with source as (
    select * from judged_row where fate <> 'readings'
),

refused_rows as (
    select export_id, line, pump_id, fate, rule, reason, raw from source order by line
)

select * from refused_rows
