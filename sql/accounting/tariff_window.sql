-- Tariff bands on the time line: each stretch of a local day with one price, quarter hours of one band joined.
-- Grain: one tariff, zone, local day and stretch.
-- Inputs: quarter (zone, day_local, quarter, start_utc, end_utc, clock_min), tariff_band, site (zone, tariff).
-- Parameters: none.
-- Columns: tariff; zone; day_local; start_utc; end_utc; price_per_kwh [currency per kWh]; peak.
-- Monday to Friday of the local day is 'weekday'. Holidays are not represented. Bands begin and end on quarter hours of
-- the wall clock, so the hour that happens twice is priced twice alike and the hour that does not exist is not priced.
with wanted as (
    select distinct tariff, zone from site where tariff is not null
),
priced as (
    select
        wanted.tariff, wanted.zone, quarter.day_local, quarter.quarter, quarter.start_utc, quarter.end_utc,
        tariff_band.price_per_kwh, tariff_band.peak
    from wanted
    join quarter on quarter.zone = wanted.zone
    join tariff_band
        on tariff_band.tariff = wanted.tariff
        and tariff_band.day_kind = case when isodow(quarter.day_local) <= 5 then 'weekday' else 'weekend' end
        and quarter.clock_min >= tariff_band.start_min
        and quarter.clock_min < tariff_band.stop_min
),
numbered as (
    select
        *,
        row_number() over (partition by tariff, zone, day_local order by quarter)
            - row_number() over (partition by tariff, zone, day_local, price_per_kwh, peak order by quarter) as stretch
    from priced
),
windows as (
    select
        tariff, zone, day_local, min(start_utc) as start_utc, max(end_utc) as end_utc, price_per_kwh, peak
    from numbered
    group by tariff, zone, day_local, price_per_kwh, peak, stretch
    order by tariff, zone, start_utc
)
select * from windows
