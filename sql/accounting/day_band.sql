-- Energy of a day by tariff band, each span split where the price changes.
-- Grain: one pump, local day and band; columns of tables.DAY_BANDS.
-- Inputs: span_estimate, unknown_estimate, pump, site (zone, tariff), tariff_window.
-- Parameters: none.
-- Columns with units: tables.DAY_BANDS.
-- Energy is even over a span. Spans whose energy is unknown add nothing; daily.sql decides whether the sum may stand.
with estimated as (
    select pump_id, day_local, start_utc, end_utc, duration_min, energy_kwh_mid from span_estimate
    union all
    select pump_id, day_local, start_utc, end_utc, duration_min, energy_kwh_mid from unknown_estimate
),
tariff_day as (
    select
        tariff, zone, day_local, day_kind, band, price_per_kwh, peak,
        sum(epoch(end_utc - start_utc) order by start_utc) / 60 as window_min
    from tariff_window
    group by tariff, zone, day_local, day_kind, band, price_per_kwh, peak
),
pieces as (
    select
        estimated.pump_id, estimated.day_local, tariff_window.band, tariff_window.price_per_kwh, tariff_window.peak,
        estimated.energy_kwh_mid * epoch(
            least(estimated.end_utc, tariff_window.end_utc) - greatest(estimated.start_utc, tariff_window.start_utc)
        ) / 60 / estimated.duration_min as energy_kwh,
        greatest(estimated.start_utc, tariff_window.start_utc) as start_utc
    from estimated
    join pump using (pump_id)
    join site using (site_id)
    join tariff_window
        on tariff_window.tariff = site.tariff
        and tariff_window.zone = site.zone
        and tariff_window.day_local = estimated.day_local
        and tariff_window.start_utc < estimated.end_utc
        and tariff_window.end_utc > estimated.start_utc
),
banded as (
    select pump_id, day_local, band, price_per_kwh, peak, sum(energy_kwh order by start_utc) as energy_kwh
    from pieces
    group by pump_id, day_local, band, price_per_kwh, peak
),
seen as (
    select distinct pump_id, day_local from estimated
),
day_band as (
    select
        pump.site_id, seen.pump_id, seen.day_local, tariff_day.day_kind, tariff_day.band, tariff_day.price_per_kwh,
        tariff_day.peak, tariff_day.window_min,
        coalesce(banded.energy_kwh, 0) as energy_kwh
    from seen
    join pump using (pump_id)
    join site using (site_id)
    join tariff_day
        on tariff_day.tariff = site.tariff and tariff_day.zone = site.zone and tariff_day.day_local = seen.day_local
    left join banded
        on banded.pump_id = seen.pump_id
        and banded.day_local = seen.day_local
        and banded.band = tariff_day.band
        and banded.price_per_kwh = tariff_day.price_per_kwh
        and banded.peak = tariff_day.peak
    order by seen.pump_id, seen.day_local, tariff_day.band, tariff_day.price_per_kwh
)
select * from day_band
