-- B4: energy and run counters against logged power and running time.
-- Grain: pump, local day, counter. Inputs: reading_step; unit_power (pump_id, day_local, measured, fits_lo, fits_hi,
--   tight_lo, tight_hi).
-- Parameters: $least_kwh, fewest kWh of a day; $least_h, fewest hours of running; $least_running_w, no running pump draws
--   less [W]; $counter_ratio, how far a counter may lie from what it counts once its unit is right; $run_ratio, the same
--   of run hours.
-- Output: the columns of a unit measure, as in unit_power.sql. `measured` is counted / logged, or without logged power
--   the mean power that the counter implies.
-- A day whose power is itself in doubt says nothing about the counter.
with source as (
    select
        pump_id,
        day_local,
        sum(both_nwh) / 1e12 as counted_kwh,
        sum(both_uj) / 3.6e12 as logged_kwh,
        sum(rise_nwh) / 1e12 as rise_kwh,
        sum(rise_ms) / 3.6e6 as rise_h,
        sum(hours_ms) / 3.6e6 as counted_h,
        sum(hours_run_ms) / 3.6e6 as run_h
    from reading_step
    group by pump_id, day_local
),

powered as (
    select source.*, unit_power.measured between unit_power.fits_lo and unit_power.fits_hi as power_fits
    from source left join unit_power using (pump_id, day_local)
),

against_power as (
    select
        pump_id,
        day_local,
        'energy_total' as quantity,
        counted_kwh / logged_kwh as measured,
        'times the logged power' as unit,
        0.4 as fits_lo,
        2.5 as fits_hi,
        1 / $counter_ratio::double as wide_lo,
        $counter_ratio::double as wide_hi,
        'the counter rose by ' || format('{:.6g} against {:.6g} kWh of logged power', counted_kwh, logged_kwh) as basis
    from powered
    where power_fits and logged_kwh >= $least_kwh and counted_kwh > 0
),

alone as (
    select
        pump_id,
        day_local,
        'energy_total' as quantity,
        1000 * rise_kwh / rise_h as measured,
        'W while running, as the counter has it' as unit,
        $least_running_w::double as fits_lo,
        25000.0 as fits_hi,
        4.0 * $least_running_w as wide_lo,
        10000.0 as wide_hi,
        '' as basis
    from powered
    where power_fits is null and logged_kwh is null and rise_h >= $least_h and rise_kwh > 0
),

run_hours as (
    select
        pump_id,
        day_local,
        'run_total' as quantity,
        counted_h / run_h as measured,
        'h counted an hour of running' as unit,
        0.4 as fits_lo,
        2.5 as fits_hi,
        1 / $run_ratio::double as wide_lo,
        $run_ratio::double as wide_hi,
        '' as basis
    from powered
    where run_h >= $least_h and counted_h > 0
),

unit_counter as (
    select *, null::double as tight_lo, null::double as tight_hi from against_power
    union all
    select *, null, null from alone
    union all
    select *, null, null from run_hours
)

select * from unit_counter
