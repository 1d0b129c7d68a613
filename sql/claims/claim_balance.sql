-- Logged power against the energy counter on each day of the period, over the time that both cover.
-- Grain: one pump and local day; columns of claims CLAIM_BALANCE, and site_id.
-- Inputs: balance (account_tables.BALANCE) of the period. Parameters: none. Columns with units: claims CLAIM_BALANCE.
with days as (
    select
        site_id, day_local, pump_id,
        power_same_kwh as power_kwh, counter_same_kwh as counter_kwh,
        power_same_kwh - counter_same_kwh as difference_kwh, difference_share, verdict
    from balance
    order by site_id, day_local, pump_id
)
select * from days
