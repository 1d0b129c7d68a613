-- The middle values of the fleet's energy and savings of the week.
-- Grain: one quantity that at least one site-day carries.
-- Inputs: baseline_day, savings (tables.SAVINGS).
-- Parameters: none.
-- Columns: quantity: energy, raw saving or equal-volume saving; sites; site_days; mid_kwh [kWh].
-- Energy: days on which every pump of the site is believed and its energy known. Savings: counted days.
with site_energy as (
    select
        site_id, day_local,
        bool_and(believed and energy_kwh_mid is not null) as counts,
        sum(energy_kwh_mid order by pump_id) as mid_kwh
    from baseline_day
    group by site_id, day_local
),
rows_of_all as (
    select 'energy' as quantity, site_id, day_local, mid_kwh from site_energy where counts
    union all
    select 'raw saving', site_id, day_local, raw_kwh_mid from savings where counted and raw_kwh_mid is not null
    union all
    select 'equal-volume saving', site_id, day_local, equal_kwh_mid
    from savings where counted and equal_kwh_mid is not null
),
fleet_sums as (
    select
        quantity,
        count(distinct site_id) as sites,
        count(*) as site_days,
        sum(mid_kwh order by site_id, day_local) as mid_kwh
    from rows_of_all
    group by quantity
    order by quantity
)
select * from fleet_sums
