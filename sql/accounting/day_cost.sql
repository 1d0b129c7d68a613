-- Cost of a day, and what of its energy fell in the peak.
-- Grain: one pump and local day with a tariff.
-- Inputs: day_band (tables.DAY_BANDS).
-- Parameters: none.
-- Columns: pump_id; day_local; peak_kwh: of energy_kwh_mid in bands marked peak [kWh]; cost of energy_kwh_mid
--   [currency].
with costs as (
    select
        pump_id, day_local,
        coalesce(sum(energy_kwh order by band, price_per_kwh) filter (peak), 0) as peak_kwh,
        sum(energy_kwh * price_per_kwh order by band, price_per_kwh) as cost
    from day_band
    group by pump_id, day_local
    order by pump_id, day_local
)
select * from costs
