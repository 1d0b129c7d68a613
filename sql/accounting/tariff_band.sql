-- Bands of a plain week in the season of the newest day of the calendar: what a plan keyed in now is priced by.
-- Grain: one tariff, kind of day and band.
-- Inputs: tariff_rate (tariff, band, day_kind, start_min, stop_min, price_per_kwh, peak, month), local_day.
-- Parameters: none.
-- Columns: tariff; band; day_kind, weekday or weekend; start_min, stop_min [min]; price_per_kwh [currency per kWh];
--   peak.
-- Holidays are left out: a plan is made for plain weeks. Days that ran are priced by tariff_window.sql, season by season.
with newest as (
    select month(max(day_local)) as month from local_day
),
tariff_band as (
    select tariff, band, day_kind, start_min, stop_min, price_per_kwh, peak
    from tariff_rate
    cross join newest
    where tariff_rate.day_kind <> 'holiday'
        and (tariff_rate.month is null or tariff_rate.month = newest.month)
    order by tariff, day_kind, start_min
)
select * from tariff_band
