-- Tariff bands on the time line: each stretch of a local day with one price, quarter hours of one band joined.
-- Grain: one tariff, zone, local day and stretch.
-- Inputs: quarter (zone, day_local, quarter, start_utc, end_utc, clock_min), tariff_rate, tariff_holiday (tariff,
--   day_local, day_kind), site (zone, tariff).
-- Parameters: none.
-- Columns: tariff; zone; day_local; start_utc; end_utc; clock_start_min, clock_stop_min: the same by wall clock [min];
--   day_kind; band; price_per_kwh [currency per kWh]; peak.
-- Monday to Friday of the local day is 'weekday', unless the tariff lists the day as a holiday. Bands begin and end on
-- quarter hours of the wall clock, so the hour that happens twice is priced twice alike and the hour that does not
-- exist is not priced.
with wanted as (
    select distinct tariff, zone from site where tariff is not null
),
days as (
    select
        wanted.tariff, wanted.zone, quarter.day_local, quarter.quarter, quarter.start_utc, quarter.end_utc,
        quarter.clock_min,
        coalesce(
            tariff_holiday.day_kind, case when isodow(quarter.day_local) <= 5 then 'weekday' else 'weekend' end
        ) as day_kind
    from wanted
    join quarter on quarter.zone = wanted.zone
    left join tariff_holiday
        on tariff_holiday.tariff = wanted.tariff and tariff_holiday.day_local = quarter.day_local
),
priced as (
    select days.*, tariff_rate.band, tariff_rate.price_per_kwh, tariff_rate.peak
    from days
    join tariff_rate
        on tariff_rate.tariff = days.tariff
        and tariff_rate.day_kind = days.day_kind
        and (tariff_rate.month is null or tariff_rate.month = month(days.day_local))
        and days.clock_min >= tariff_rate.start_min
        and days.clock_min < tariff_rate.stop_min
),
numbered as (
    select
        *,
        row_number() over (partition by tariff, zone, day_local order by quarter)
            - row_number() over (
                partition by tariff, zone, day_local, band, price_per_kwh, peak order by quarter
            ) as stretch
    from priced
),
windows as (
    select
        tariff, zone, day_local,
        min(start_utc) as start_utc, max(end_utc) as end_utc,
        min(clock_min) as clock_start_min, max(clock_min) + 15 as clock_stop_min,
        day_kind, band, price_per_kwh, peak
    from numbered
    group by tariff, zone, day_local, day_kind, band, price_per_kwh, peak, stretch
    order by tariff, zone, start_utc
)
select * from windows
