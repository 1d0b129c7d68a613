-- Mean price of each quarter hour of the clock over a week of five weekdays and two weekend days.
-- grain: one tariff and quarter. inputs: tariff_band. parameters: none. columns: tariff, quarter (0..95), price_per_kwh
--   [currency/kWh].
-- A plain week of the season: holidays are left out (tariff_band.sql).
with quarters as (
    select unnest(range(96)) as quarter
),
priced as (
    select b.tariff, q.quarter, sum(b.price_per_kwh * case b.day_kind when 'weekday' then 5 else 2 end order by b.day_kind) / 7
        as price_per_kwh
    from tariff_band as b
    join quarters as q on q.quarter * 15 >= b.start_min and q.quarter * 15 < b.stop_min
    group by b.tariff, q.quarter
),
quarter_price as (
    select tariff, quarter, price_per_kwh
    from priced
    order by tariff, quarter
)
select * from quarter_price
