-- Energy of a day by tariff band, each span split where the price changes.
-- Grain: one pump and local day with a tariff.
-- Inputs: span_estimate, unknown_estimate, pump, site (zone, tariff), tariff_window.
-- Parameters: none.
-- Columns: pump_id; day_local; peak_kwh: of energy_kwh_mid in bands marked peak [kWh]; cost of energy_kwh_mid
--   [currency].
-- Energy is even over a span. Spans whose energy is unknown add nothing; daily.sql decides whether the sum may stand.
with estimated as (
    select pump_id, day_local, start_utc, end_utc, duration_min, energy_kwh_mid from span_estimate
    union all
    select pump_id, day_local, start_utc, end_utc, duration_min, energy_kwh_mid from unknown_estimate
),
priced as (
    select estimated.*, site.zone, site.tariff
    from estimated
    join pump using (pump_id)
    join site using (site_id)
    where site.tariff is not null
),
pieces as (
    select
        priced.pump_id, priced.day_local,
        priced.energy_kwh_mid * epoch(
            least(priced.end_utc, tariff_window.end_utc) - greatest(priced.start_utc, tariff_window.start_utc)
        ) / 60 / priced.duration_min as energy_kwh,
        tariff_window.price_per_kwh, tariff_window.peak,
        greatest(priced.start_utc, tariff_window.start_utc) as start_utc
    from priced
    join tariff_window
        on tariff_window.tariff = priced.tariff
        and tariff_window.zone = priced.zone
        and tariff_window.day_local = priced.day_local
        and tariff_window.start_utc < priced.end_utc
        and tariff_window.end_utc > priced.start_utc
),
costs as (
    select
        pump_id, day_local,
        coalesce(sum(energy_kwh order by start_utc) filter (peak), 0) as peak_kwh,
        sum(energy_kwh * price_per_kwh order by start_utc) as cost
    from pieces
    group by pump_id, day_local
    order by pump_id, day_local
)
select * from costs
