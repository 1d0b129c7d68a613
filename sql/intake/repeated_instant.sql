-- How many clean readings stand at an instant that their pump has already.
-- Grain: the export. Inputs: clean_row (columns of readings). Output: repeats.
with source as (
    select pump_id, count(*) - count(distinct time_utc) as repeats from clean_row group by pump_id
)

select sum(repeats)::bigint as repeats from source
