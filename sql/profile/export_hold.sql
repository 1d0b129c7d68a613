-- How long a reading of each export stands.
-- Grain: export. Inputs: export (columns of exports). Output: export_id, hold_s [s], gap_limit_s [s].
with source as (
    select export_id, hold_s, gap_limit_s from export where status = 'read'
),

export_hold as (
    select distinct export_id, hold_s, gap_limit_s from source
)

select * from export_hold
