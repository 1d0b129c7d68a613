-- How many clean readings stand at an instant that their pump has already.
-- Grain: the export. Inputs: clean_row (columns of readings). Output: repeats.
with source as (
    select pump_id, count(*) as rows, count(distinct time_utc) as instants from clean_row group by pump_id
),

repeated_instant as (
    select sum(rows - instants)::bigint as repeats from source
)

select * from repeated_instant
