-- Measured and baseline energy of a site's local day by tariff band.
-- Grain: one site, local day and band; columns of tables.SAVINGS_BANDS.
-- Inputs: baseline_day, day_band (tables.DAY_BANDS), tariff_window, site.
-- Parameters: none.
-- Columns with units: tables.SAVINGS_BANDS.
-- Shares of a day's energy, so that the bands of a day add up to the day whatever clock change it holds. Measured: by
-- when it ran. Baseline: by the wall clock from its recorded start over its hours, at equal volume over the hours that
-- volume takes, at most the whole day. Without a recorded start the baseline is spread as the pump's own energy of the
-- day was, and every row says so. A day of which one pump is unknown, or not believed, has no rows.
with measured as (
    select
        day_band.*,
        energy_kwh / nullif(sum(energy_kwh) over (partition by pump_id, day_local), 0) as share
    from day_band
),
clocked as (
    select
        baseline_day.pump_id, baseline_day.day_local, tariff_window.band, tariff_window.price_per_kwh,
        tariff_window.peak, tariff_window.start_utc,
        clock_start_min as c0, clock_stop_min as c1, baseline_day.start_min as s0,
        start_min + least(hours * 60, 1440) as raw_end,
        start_min + least(equal_kwh / nullif(power_w, 0) * 60000, 1440) as equal_end
    from baseline_day
    join site using (site_id)
    join tariff_window
        on tariff_window.tariff = site.tariff
        and tariff_window.zone = site.zone
        and tariff_window.day_local = baseline_day.day_local
    where baseline_day.start_min is not null
),
shared_minutes as (
    select
        pump_id, day_local, band, price_per_kwh, peak,
        sum(
            greatest(least(c1, raw_end) - greatest(c0, s0), 0)
            + greatest(least(c1 + 1440, raw_end) - greatest(c0 + 1440, s0), 0) order by start_utc
        ) as raw_min,
        sum(
            greatest(least(c1, equal_end) - greatest(c0, s0), 0)
            + greatest(least(c1 + 1440, equal_end) - greatest(c0 + 1440, s0), 0) order by start_utc
        ) as equal_min
    from clocked
    group by pump_id, day_local, band, price_per_kwh, peak
),
clock_shares as (
    select
        *,
        raw_min / nullif(sum(raw_min) over (partition by pump_id, day_local), 0) as raw_share,
        -- No volume: no baseline energy to place.
        coalesce(equal_min / nullif(sum(equal_min) over (partition by pump_id, day_local), 0), 0) as equal_share
    from shared_minutes
),
pump_bands as (
    select
        measured.site_id, measured.pump_id, measured.day_local, measured.day_kind, measured.band,
        measured.price_per_kwh, measured.peak, measured.window_min,
        baseline_day.start_min is not null as clocked,
        case when baseline_day.energy_kwh_mid = 0 then 0 else baseline_day.energy_kwh_mid * measured.share end
            as measured_kwh,
        baseline_day.baseline_kwh * if(baseline_day.start_min is null, measured.share, clock_shares.raw_share)
            as baseline_kwh,
        baseline_day.equal_kwh * if(baseline_day.start_min is null, measured.share, clock_shares.equal_share)
            as baseline_equal_kwh
    from measured
    join baseline_day using (pump_id, day_local)
    left join clock_shares
        on clock_shares.pump_id = measured.pump_id
        and clock_shares.day_local = measured.day_local
        and clock_shares.band = measured.band
        and clock_shares.price_per_kwh = measured.price_per_kwh
        and clock_shares.peak = measured.peak
),
site_bands as (
    select
        site_id, day_local, day_kind, band, price_per_kwh, peak,
        any_value(window_min) as window_min,
        count(*) as pumps,
        bool_and(clocked) as clocked,
        if(count(measured_kwh) = count(*), sum(measured_kwh order by pump_id), null) as measured_kwh,
        if(count(baseline_kwh) = count(*), sum(baseline_kwh order by pump_id), null) as baseline_kwh,
        if(count(baseline_equal_kwh) = count(*), sum(baseline_equal_kwh order by pump_id), null) as baseline_equal_kwh
    from pump_bands
    group by site_id, day_local, day_kind, band, price_per_kwh, peak
),
whole_days as (
    select site_id, day_local, bool_and(believed) as believed, count(*) as pumps
    from baseline_day
    group by site_id, day_local
),
savings_bands as (
    select
        site_bands.site_id, site_bands.day_local, day_kind, band, price_per_kwh, peak, window_min,
        measured_kwh, baseline_kwh, baseline_equal_kwh,
        baseline_kwh - measured_kwh as raw_kwh,
        baseline_equal_kwh - measured_kwh as equal_kwh,
        (baseline_kwh - measured_kwh) * price_per_kwh as raw_money,
        (baseline_equal_kwh - measured_kwh) * price_per_kwh as equal_money,
        if(clocked, 'hours of the single-speed pump', 'hours of the present pump') as method
    from site_bands
    join whole_days
        on whole_days.site_id = site_bands.site_id
        and whole_days.day_local = site_bands.day_local
        and whole_days.pumps = site_bands.pumps
    where whole_days.believed
    order by site_bands.site_id, site_bands.day_local, band, price_per_kwh
)
select * from savings_bands
