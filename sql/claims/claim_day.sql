-- Every local day of a claim's period, with its numbers by where they come from.
-- Grain: one site and local day of period_day; columns of claims CLAIM_DAYS, and site_id.
-- Inputs: period_day (site_id, day_local, day_min, week), savings (tables.SAVINGS), daily (tables.DAILY), baseline_day
--   (accounting/baseline_day.sql), peak_day (claims/peak_day.sql), all of the period; reviewed_week (week).
-- Parameters: $least_coverage of a day, share; $own_window: peak_day is the programme's own window, else the tariff's peak
--   stands.
-- Columns with units: claims CLAIM_DAYS.
-- Parts by origin add up to the whole: a pump whose meter tells its energy is measured, one by its power curve, wholly or
-- in part, computed; a baseline whose power was metered is measured, any other stipulated.
with pump_days as (
    select
        site_id, day_local,
        min(observed_min) as observed_min,
        sum(run_min order by pump_id) as run_min,
        sum(energy_kwh_mid order by pump_id) filter (energy_source in ('metered power', 'counter')) as measured_kwh,
        sum(energy_kwh_mid order by pump_id) filter (energy_source not in ('metered power', 'counter')) as computed_kwh,
        case when bool_and(energy_kwh_lo is not null) then sum(energy_kwh_lo order by pump_id) end as energy_kwh_lo,
        case when bool_and(energy_kwh_hi is not null) then sum(energy_kwh_hi order by pump_id) end as energy_kwh_hi,
        string_agg(distinct energy_source, ', ' order by energy_source) as energy_source,
        sum(volume_m3_mid order by pump_id) filter (volume_source = 'metered') as measured_volume_m3,
        sum(volume_m3_mid order by pump_id) filter (volume_source <> 'metered') as computed_volume_m3,
        case when bool_and(volume_m3_lo is not null) then sum(volume_m3_lo order by pump_id) end as volume_m3_lo,
        case when bool_and(volume_m3_hi is not null) then sum(volume_m3_hi order by pump_id) end as volume_m3_hi,
        string_agg(distinct volume_source, ', ' order by volume_source) as volume_source,
        case when bool_and(turnovers_lo is not null) then sum(turnovers_lo order by pump_id) end as turnovers_lo,
        case when bool_and(turnovers_mid is not null) then sum(turnovers_mid order by pump_id) end as turnovers_mid,
        case when bool_and(turnovers_hi is not null) then sum(turnovers_hi order by pump_id) end as turnovers_hi
    from daily
    group by site_id, day_local
),
baselines as (
    select
        site_id, day_local,
        sum(baseline_kwh order by pump_id) filter (evidence = 'measured') as measured_baseline_kwh,
        sum(baseline_kwh order by pump_id) filter (evidence <> 'measured') as stipulated_baseline_kwh
    from baseline_day
    group by site_id, day_local
),
joined as (
    select
        period_day.site_id, period_day.day_local, period_day.week, period_day.day_min,
        savings.site_id is not null and reviewed_week.week is not null as reviewed,
        savings.counted and savings.coverage >= $least_coverage as counted,
        case
            when not savings.counted then savings.reason
            when savings.coverage < $least_coverage then printf(
                '%d %% of the day observed, the programme asks for %d %%',
                cast(floor(savings.coverage * 100) as integer), cast(round($least_coverage * 100) as integer)
            )
        end as left_out,
        pump_days.* exclude (site_id, day_local),
        baselines.* exclude (site_id, day_local),
        savings.* exclude (site_id, day_local, counted, reason, measured_kwh, measured_peak_kw, baseline_peak_kw),
        savings.measured_kwh as day_kwh,
        case when $own_window then peak_day.measured_peak_kw else savings.measured_peak_kw end as measured_peak_kw,
        case when $own_window then peak_day.baseline_peak_kw else savings.baseline_peak_kw end as baseline_peak_kw,
        peak_day.site_id is not null as has_window
    from period_day
    left join savings using (site_id, day_local)
    left join pump_days using (site_id, day_local)
    left join baselines using (site_id, day_local)
    left join peak_day using (site_id, day_local)
    left join reviewed_week on reviewed_week.week = period_day.week
),
claim_day as (
    select
        site_id, day_local, week,
        case when not reviewed then 'not reviewed' when counted then 'counted' else 'left out' end as state,
        case when not reviewed then 'its week has no review' when counted then '' else left_out end as reason,
        day_min, observed_min, observed_min / day_min as coverage, run_min,
        case when day_kwh is not null then measured_kwh end as measured_kwh,
        case when day_kwh is not null then computed_kwh end as computed_kwh,
        case when day_kwh is not null then energy_kwh_lo end as energy_kwh_lo,
        day_kwh as energy_kwh_mid,
        case when day_kwh is not null then energy_kwh_hi end as energy_kwh_hi,
        energy_source, measured_volume_m3, computed_volume_m3, volume_m3_lo, volume_m3_hi, volume_source,
        turnovers_lo, turnovers_mid, turnovers_hi,
        case when baseline_kwh is not null then measured_baseline_kwh end as measured_baseline_kwh,
        case when baseline_kwh is not null then stipulated_baseline_kwh end as stipulated_baseline_kwh,
        baseline_kwh, baseline_equal_kwh,
        raw_kwh_lo, raw_kwh_mid, raw_kwh_hi, equal_kwh_lo, equal_kwh_mid, equal_kwh_hi,
        raw_money_lo, raw_money_mid, raw_money_hi, equal_money_lo, equal_money_mid, equal_money_hi,
        case
            when $own_window and not has_window then 'not in it'
            when measured_peak_kw is not null and baseline_peak_kw is not null then 'in the peak window'
            when $own_window then 'cannot tell'
            when measured_peak_kw is not null then 'cannot tell'
            else 'not in it'
        end as peak,
        measured_peak_kw, baseline_peak_kw, service
    from joined
    order by site_id, day_local
)
select * from claim_day
