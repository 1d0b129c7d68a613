-- Hours of a pump at each speed, by calendar month of its local days: real time of its spans, never rows.
-- Grain: one pump, calendar month and speed of the 25 rpm grid; 0 is standing, null not known. Columns of claims
--   HOURS_BY_SPEED_MONTH, and site_id.
-- Inputs: span (tables.SPANS) of the period. Parameters: none. Columns with units: claims HOURS_BY_SPEED_MONTH.
with spans as (
    select
        site_id, pump_id, strftime(day_local, '%Y-%m') as month, start_utc, duration_min,
        case
            when kind = 'off' then 0
            when kind = 'run' then cast(round(speed_rpm / 25) * 25 as bigint)
        end as speed_rpm
    from span
),
hours as (
    select site_id, pump_id, month, speed_rpm, sum(duration_min order by start_utc) / 60 as hours
    from spans
    group by site_id, pump_id, month, speed_rpm
    order by site_id, pump_id, month, speed_rpm
)
select * from hours
