-- What an export holds, in one row: the table that the suite file_profile judges.
-- Grain: the export. Inputs: judged_row.
-- Output: rows, by fate; shares of rows [0-1], impossible_share those with a value out of range; null share of speed;
--   least and most of each quantity in its unit; first and last UTC; told_first, rows of a repeated hour whose pass the
--   order did not tell.
with source as (
    select * from judged_row
),

file_profile as (
    select
        count(*) as rows,
        count(*) filter (where fate = 'readings') as readings,
        count(*) filter (where fate = 'duplicates') as duplicates,
        count(*) filter (where fate = 'quarantine') as quarantine,
        count(*) filter (where fate = 'rejects') as rejects,
        coalesce(avg((fate = 'rejects')::int), 0) as reject_share,
        coalesce(avg((fate = 'quarantine')::int), 0) as quarantine_share,
        coalesce(avg((fate = 'duplicates')::int), 0) as duplicate_share,
        coalesce(avg(coalesce(rule like '%_out_of_range', false)::int), 0) as impossible_share,
        coalesce(avg((speed_rpm is null)::int) filter (where fate = 'readings'), 1) as speed_null_share,
        coalesce(avg((power_w is null and energy_total_kwh is null)::int) filter (where fate = 'readings'), 1)
            as energy_null_share,
        max(speed_rpm) filter (where fate = 'readings') as speed_most_rpm,
        max(power_w) filter (where fate = 'readings') as power_most_w,
        min(time_utc) filter (where fate = 'readings') as first_utc,
        max(time_utc) filter (where fate = 'readings') as last_utc,
        count(*) filter (where fate = 'readings' and clock_state = 'twice, first taken') as told_first
    from source
)

select * from file_profile
