-- Clean readings counted once, for all that is asked of them afterwards, and the order in which they stand.
-- Grain: local ISO week and pump. Inputs: clean_row (columns of readings, in file order).
-- Output: the columns of tally; and, of rows and the one above in the file: back, stamped before it; back_within, those
--   of them whose row above is the same pump's; turns, whose row above is another pump's; repeats_within, the same
--   pump's and not after it; unsorted, neither after it nor at one time with a code further on in the alphabet.
with source as (
    select
        *,
        lag(pump_id) over () as pump_before,
        lag(time_utc) over () as time_before
    from clean_row
),

of_day as (
    -- Days first: a day's week is written out once a day, not once a row.
    select
        day_local,
        pump_id,
        count(*) as rows,
        min(time_utc) as first_utc,
        max(time_utc) as last_utc,
        count(*) - count(speed_rpm) as speed_nulls,
        count(*) - count(coalesce(power_w, energy_total_kwh)) as energy_nulls,
        max(speed_rpm) as speed_most_rpm,
        max(power_w) as power_most_w,
        count(*) filter (time_utc < time_before) as back,
        count(*) filter (time_utc < time_before and pump_id = pump_before) as back_within,
        count(*) filter (pump_id <> pump_before) as turns,
        count(*) filter (time_utc <= time_before and pump_id = pump_before) as repeats_within,
        count(*) filter (time_utc < time_before or (time_utc = time_before and pump_id <= pump_before)) as unsorted
    from source
    group by all
),

clean_tally as (
    select
        'readings' as fate,
        null::varchar as rule,
        strftime(day_local, '%G-W%V') as week,
        pump_id,
        sum(rows)::bigint as rows,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc,
        sum(speed_nulls)::bigint as speed_nulls,
        sum(energy_nulls)::bigint as energy_nulls,
        max(speed_most_rpm) as speed_most_rpm,
        max(power_most_w) as power_most_w,
        sum(back)::bigint as back,
        sum(back_within)::bigint as back_within,
        sum(turns)::bigint as turns,
        sum(repeats_within)::bigint as repeats_within,
        sum(unsorted)::bigint as unsorted
    from of_day
    group by week, pump_id
)

select * from clean_tally
