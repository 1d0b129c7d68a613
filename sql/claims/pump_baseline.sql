-- The former pump's energy on the counted days of a claim, by pump: what a change of its power or hours would move.
-- Grain: one pump. Inputs: baseline_day (accounting/baseline_day.sql), claim_day (claims/claim_day.sql), of the period.
-- Parameters: none.
-- Columns: site_id, pump_id; days counted; baseline_kwh, equal_kwh over them [kWh], null none known.
with counted as (
    select baseline_day.site_id, baseline_day.pump_id, baseline_day.day_local, baseline_day.baseline_kwh, equal_kwh
    from baseline_day
    join claim_day on claim_day.site_id = baseline_day.site_id and claim_day.day_local = baseline_day.day_local
    where claim_day.state = 'counted'
),
pumps as (
    select
        site_id, pump_id, count(*) as days,
        sum(baseline_kwh order by day_local) as baseline_kwh,
        sum(equal_kwh order by day_local) as equal_kwh
    from counted
    group by site_id, pump_id
    order by site_id, pump_id
)
select * from pumps
