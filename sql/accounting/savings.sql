-- One site's local day against its single-speed baseline: raw, and at equal volume, with the reason where the day does
-- not count.
-- Grain: one site and local day; columns of tables.SAVINGS.
-- Inputs: savings_day, exclusions (tables.EXCLUSIONS), savings_band (tables.SAVINGS_BANDS).
-- Parameters: $co2_kg_per_kwh of the fleet file, null where none stands with its source.
-- Columns with units: tables.SAVINGS.
-- Money: each band's saving at its own price. Its interval: the baseline's half-width at the baseline's mean price, the
-- meter's at the pump's own mean price, in quadrature (first order).
with priced as (
    select
        site_id, day_local,
        sum(measured_kwh * price_per_kwh order by band, price_per_kwh) as measured_money,
        if(
            count(baseline_kwh) = count(*), sum(baseline_kwh * price_per_kwh order by band, price_per_kwh), null
        ) as baseline_money,
        if(
            count(baseline_equal_kwh) = count(*),
            sum(baseline_equal_kwh * price_per_kwh order by band, price_per_kwh), null
        ) as equal_money,
        if(count(measured_kwh) = count(*), sum(measured_kwh order by band, price_per_kwh), null) as banded_kwh,
        any_value(method) as method,
        sum(window_min order by band, price_per_kwh) filter (peak) / 60 as peak_h,
        sum(measured_kwh order by band, price_per_kwh) filter (peak) as measured_peak_kwh,
        sum(baseline_kwh order by band, price_per_kwh) filter (peak) as baseline_peak_kwh
    from savings_band
    group by site_id, day_local
),
first_reason as (
    select site_id, day_local, arg_min(reason, place) as reason from exclusions group by site_id, day_local
),
money as (
    select
        savings_day.*,
        coalesce(first_reason.reason, '') as reason,
        priced.method,
        case when banded_kwh is not null then baseline_money - measured_money end as raw_money_mid,
        case when banded_kwh is not null then equal_money - measured_money end as equal_money_mid,
        abs(baseline_money / nullif(savings_day.baseline_kwh, 0)) as baseline_price,
        abs(coalesce(equal_money / nullif(baseline_equal_kwh, 0), 0)) as equal_price,
        abs(coalesce(measured_money / nullif(measured_kwh, 0), 0)) as measured_price,
        measured_peak_kwh / peak_h as measured_peak_kw,
        case when priced.method = 'hours of the single-speed pump'
            then baseline_peak_kwh / peak_h end as baseline_peak_kw
    from savings_day
    left join first_reason using (site_id, day_local)
    left join priced using (site_id, day_local)
),
savings as (
    select
        site_id, day_local,
        reason = '' as counted,
        reason,
        coverage,
        day_kwh as measured_kwh,
        baseline_kwh,
        case when believed then baseline_equal_kwh end as baseline_equal_kwh,
        raw_mid - raw_below as raw_kwh_lo,
        raw_mid as raw_kwh_mid,
        raw_mid + raw_above as raw_kwh_hi,
        equal_mid - equal_off_below as equal_kwh_lo,
        equal_mid as equal_kwh_mid,
        equal_mid + equal_off_above as equal_kwh_hi,
        equal_money_mid,
        concat('baseline ', evidence, '; energy ', energy_source, '; volume ', volume_source) as source,
        raw_mid / nullif(baseline_kwh, 0) as raw_share_mid,
        equal_mid / nullif(baseline_equal_kwh, 0) as equal_share_mid,
        raw_money_mid - sqrt(pow(baseline_off * baseline_price, 2) + pow(measured_above * measured_price, 2))
            as raw_money_lo,
        raw_money_mid,
        raw_money_mid + sqrt(pow(baseline_off * baseline_price, 2) + pow(measured_below * measured_price, 2))
            as raw_money_hi,
        equal_money_mid - sqrt(
            (pow(equal_power_off, 2) + pow(equal_below, 2)) * pow(equal_price, 2)
            + pow(measured_above * measured_price, 2)
        ) as equal_money_lo,
        equal_money_mid + sqrt(
            (pow(equal_power_off, 2) + pow(equal_above, 2)) * pow(equal_price, 2)
            + pow(measured_below * measured_price, 2)
        ) as equal_money_hi,
        coalesce(method, '') as money_method,
        measured_peak_kw,
        baseline_peak_kw,
        baseline_peak_kw - measured_peak_kw as peak_kw_saved,
        equal_mid * $co2_kg_per_kwh as co2_kg_mid,
        case
            when not believed or required_m3 is null or volume_m3_lo is null then 'cannot tell'
            when volume_m3_lo >= required_m3 then 'shown'
            else 'not shown'
        end as service
    from money
    order by site_id, day_local
)
select * from savings
