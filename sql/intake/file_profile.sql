-- What an export holds, in one row: the table that the suite file_profile judges.
-- Grain: the export. Inputs: tally.
-- Output: rows, by fate; shares of rows [0-1], impossible_share those with a value out of range; null share of speed
--   and of energy; largest speed [rev/min] and power [W]; first and last UTC.
with source as (
    select * from tally
),

counted as (
    select
        coalesce(sum(rows), 0)::bigint as rows,
        coalesce(sum(rows) filter (where fate = 'readings'), 0)::bigint as readings,
        coalesce(sum(rows) filter (where fate = 'duplicates'), 0)::bigint as duplicates,
        coalesce(sum(rows) filter (where fate = 'quarantine'), 0)::bigint as quarantine,
        coalesce(sum(rows) filter (where fate = 'rejects'), 0)::bigint as rejects,
        coalesce(sum(rows) filter (where rule like '%_out_of_range'), 0)::bigint as impossible,
        coalesce(sum(speed_nulls) filter (where fate = 'readings'), 0)::bigint as speed_nulls,
        coalesce(sum(energy_nulls) filter (where fate = 'readings'), 0)::bigint as energy_nulls,
        max(speed_most_rpm) filter (where fate = 'readings') as speed_most_rpm,
        max(power_most_w) filter (where fate = 'readings') as power_most_w,
        min(first_utc) filter (where fate = 'readings') as first_utc,
        max(last_utc) filter (where fate = 'readings') as last_utc
    from source
),

file_profile as (
    select
        rows,
        readings,
        duplicates,
        quarantine,
        rejects,
        if(rows > 0, rejects / rows, 0) as reject_share,
        if(rows > 0, quarantine / rows, 0) as quarantine_share,
        if(rows > 0, duplicates / rows, 0) as duplicate_share,
        if(rows > 0, impossible / rows, 0) as impossible_share,
        if(readings > 0, speed_nulls / readings, 1) as speed_null_share,
        if(readings > 0, energy_nulls / readings, 1) as energy_null_share,
        speed_most_rpm,
        power_most_w,
        first_utc,
        last_utc
    from counted
)

select * from file_profile
