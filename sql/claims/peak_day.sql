-- Mean power over a programme's peak window: of the pumps as metered, and of the single-speed pump at its recorded start
-- and hours.
-- Grain: one site and local day of the period that has the window.
-- Inputs: profile (tables.PROFILE), pump, balance (account_tables.BALANCE), period_day (site_id, day_local).
-- Parameters: $months, $weekdays (1 Monday), lists; $start_min, $stop_min: wall clock of the window [min].
-- Columns: measured_peak_kw: null where a minute of the window is unknown, unmetered, or another device hangs on the meter;
--   baseline_peak_kw: null where start, hours or evidence of a pump's baseline are not recorded [kW].
-- The clock is the site's own, so that the window stays where it is on days of 23 and 25 hours; an hour that comes twice
-- counts twice. The former pump ran every day from its start, across midnight where its hours reach there.
with window_quarter as (
    select
        period_day.site_id, period_day.day_local, profile.pump_id, profile.quarter,
        profile.energy_kwh, profile.unknown_min,
        cast(profile.clock_local[1:2] as integer) * 60 + cast(profile.clock_local[4:5] as integer) as clock_min
    from period_day
    join pump on pump.site_id = period_day.site_id
    left join profile on profile.pump_id = pump.pump_id and profile.day_local = period_day.day_local
    where list_contains($months, month(period_day.day_local))
        and list_contains($weekdays, isodow(period_day.day_local))
),
in_window as (
    select * from window_quarter where clock_min is null or (clock_min >= $start_min and clock_min < $stop_min)
),
former as (
    select
        pump_id, baseline_power_w / 1000 as power_kw, baseline_start_min % 1440 as start_min,
        baseline_hours_per_day * 60 as run_min, baseline_evidence
    from pump
),
overlapped as (
    -- A day's run may reach past midnight: it then covers the first hours of every day as well.
    select
        in_window.*, former.power_kw, former.start_min, former.run_min, former.baseline_evidence,
        greatest(0, least(clock_min + 15, former.start_min + former.run_min) - greatest(clock_min, former.start_min))
            + greatest(0, least(clock_min + 15, former.start_min + former.run_min - 1440) - clock_min) as former_min
    from in_window
    join former using (pump_id)
),
pump_window as (
    select
        site_id, day_local, pump_id,
        count(clock_min) / 4.0 as window_h,
        case when bool_and(clock_min is not null and unknown_min < 0.01 and energy_kwh is not null)
            then sum(energy_kwh order by quarter) end as energy_kwh,
        case when bool_and(power_kw is not null and start_min is not null and run_min is not null
                and baseline_evidence is not null)
            then sum(power_kw * former_min / 60 order by quarter) end as former_kwh
    from overlapped
    group by site_id, day_local, pump_id
),
aux as (
    select site_id, day_local, bool_or(coalesce(aux_kwh_hi, 0) > 0) as aux_on_meter
    from balance
    group by site_id, day_local
),
peak_day as (
    select
        pump_window.site_id, pump_window.day_local,
        case when bool_and(energy_kwh is not null and window_h > 0) and not bool_or(coalesce(aux.aux_on_meter, false))
            then sum(energy_kwh / nullif(window_h, 0) order by pump_id) end as measured_peak_kw,
        case when bool_and(former_kwh is not null and window_h > 0)
            then sum(former_kwh / nullif(window_h, 0) order by pump_id) end as baseline_peak_kw
    from pump_window
    left join aux using (site_id, day_local)
    group by pump_window.site_id, pump_window.day_local
    order by pump_window.site_id, pump_window.day_local
)
select * from peak_day
