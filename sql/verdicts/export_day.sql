-- Local days that each export holds, as its dates were read and with day and month exchanged.
-- Grain: export, local day. Inputs: export (export_id, file, source); extent (export_id, pump_id, first_utc,
--   last_utc: first and last reading of an export, pump and ISO week); pump; site (zone); local_day (day_local: the
--   days looked at).
-- Output: source, file, day_local, other_day (null where no such day exists), proven (days of the source that can
--   only be read as they were), read_in (the day is among those looked at), other_in (the exchanged day is), alone
--   (no other day of the export within 20 days; of an export of one day, none of the source), ahead_of_all (after the
--   days looked at, and no other export of the fleet within 20 days).
with held as (
    select
        export.source,
        export.file,
        timezone(site.zone, timezone('UTC', extent.first_utc))::date as first_day,
        timezone(site.zone, timezone('UTC', extent.last_utc))::date as last_day
    from extent
    join export using (export_id)
    join pump on extent.pump_id = pump.pump_id
    join site using (site_id)
),

day as (
    select distinct source, file, unnest(generate_series(first_day, last_day, interval 1 day))::date as day_local
    from held
),

exchanged as (
    select
        *,
        try_cast(format('{:04d}-{:02d}-{:02d}', year(day_local), day(day_local), month(day_local)) as date) as other_day
    from day
),

bound as (
    select min(day_local) as first_day, max(day_local) as last_day from local_day
),

in_file as (
    select
        exchanged.*,
        count(*) over (partition by source, file) as days,
        count(*) filter (where other_day is null) over (partition by source) as proven,
        least(day_local - lag(day_local) over days, lead(day_local) over days - day_local) as apart_days,
        day_local between bound.first_day and bound.last_day as read_in,
        coalesce(other_day <> day_local and other_day between bound.first_day and bound.last_day, false) as other_in,
        day_local > bound.last_day as ahead
    from exchanged cross join bound
    window days as (partition by source, file order by day_local)
),

near as (
    select
        in_file.source,
        in_file.file,
        in_file.day_local,
        count(*) filter (where other.source = in_file.source) as days_of_source,
        count(*) as days_of_fleet
    from in_file
    join day as other
        on (other.source <> in_file.source or other.file <> in_file.file)
        and abs(other.day_local - in_file.day_local) <= 20
    where in_file.other_in and not in_file.read_in
    group by all
),

export_day as (
    select
        source,
        file,
        day_local,
        other_day,
        proven,
        read_in,
        other_in,
        if(days > 1, apart_days > 20, coalesce(near.days_of_source, 0) = 0) as alone,
        ahead and coalesce(near.days_of_fleet, 0) = 0 as ahead_of_all
    from in_file left join near using (source, file, day_local)
    where read_in or other_in
)

select * from export_day order by source, file, day_local
