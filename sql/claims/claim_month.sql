-- A claim's days by calendar month: energy, baseline and savings of the counted days, coverage of all days.
-- Grain: one site and calendar month that has a day of the period; columns of claims CLAIM_MONTHS, and site_id.
-- Inputs: claim_day (claims/claim_day.sql). Parameters: none. Columns with units: claims CLAIM_MONTHS.
-- A part of a month is a part of a month: nothing is scaled up. A day that was not reviewed was not observed.
with months as (
    select
        site_id, strftime(day_local, '%Y-%m') as month,
        count(*) as days,
        count(*) filter (state = 'counted') as counted_days,
        sum(coalesce(observed_min, 0) order by day_local) / sum(day_min order by day_local) as coverage,
        coalesce(sum(energy_kwh_mid order by day_local) filter (state = 'counted'), 0) as energy_kwh,
        coalesce(sum(baseline_kwh order by day_local) filter (state = 'counted'), 0) as baseline_kwh,
        coalesce(sum(raw_kwh_mid order by day_local) filter (state = 'counted'), 0) as raw_kwh,
        sum(equal_kwh_mid order by day_local) filter (state = 'counted') as equal_kwh,
        count(equal_kwh_mid) filter (state = 'counted') as equal_days,
        sum(raw_money_mid order by day_local) filter (state = 'counted') as raw_money,
        sum(equal_money_mid order by day_local) filter (state = 'counted') as equal_money
    from claim_day
    group by site_id, month
    order by site_id, month
)
select * from months
