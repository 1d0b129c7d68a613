-- The pumps of a site added up for one local day: energy, water, service and baseline, before it is judged.
-- Grain: one site and local day.
-- Inputs: baseline_day, site, struck_day (site_id, day_local, reason), idle_day (site_id, day_local, observed_min: the
--   planned minutes it stood through), dry_day.
-- Parameters: none.
-- Columns: sums with units as in baseline_day; raw_mid, raw_below, raw_above, equal_mid, equal_off_below,
--   equal_off_above [kWh]; required_m3: the service asked of the day [m3]; struck_reason; idle_min, dry_min [min];
--   day_min, unknown_min, run_min [min]: of the pump with the most of them.
-- A sum over pumps of which one is unknown is unknown. No number at all where a pump's day is not believed: savings of
-- missing time are not savings (CalTRACK 2.0, 3.5.4.1).
-- Terms of one kind add straight over the pumps of a site, which share meters and memory.
-- Service: the required turnovers where entered, else the water the baseline moved in its hours.
with site_days as (
    select
        site_id, day_local,
        min(coverage) as coverage,
        bool_and(valid) as valid,
        bool_and(believed) as believed,
        bool_or(unproved) as unproved,
        string_agg(pump_id, ' and ' order by pump_id) filter (unproved) as unproved_pumps,
        max(longest_gap_min) as longest_gap_min,
        max(day_min) as day_min,
        max(day_min - observed_min) as unknown_min,
        max(run_min) as run_min,
        case when bool_and(energy_kwh_mid is not null) then sum(energy_kwh_mid order by pump_id) end as measured_kwh,
        sum(energy_kwh_mid - energy_kwh_lo order by pump_id) as measured_below,
        sum(energy_kwh_hi - energy_kwh_mid order by pump_id) as measured_above,
        case when bool_and(volume_m3_hi is not null) then sum(turnovers_lo order by pump_id) end as turnovers_lo,
        case when bool_and(volume_m3_hi is not null) then sum(turnovers_hi order by pump_id) end as turnovers_hi,
        case when bool_and(volume_m3_hi is not null) then sum(volume_m3_lo order by pump_id) end as volume_m3_lo,
        case when bool_and(volume_m3_hi is not null) then sum(volume_m3_hi order by pump_id) end as volume_m3_hi,
        case when bool_and(flow_mid is not null and hours is not null)
            then sum(flow_mid * hours order by pump_id) end as baseline_volume_m3,
        case when bool_and(baseline_kwh is not null) then sum(baseline_kwh order by pump_id) end as baseline_kwh,
        sum(baseline_off order by pump_id) as baseline_off,
        case when bool_and(equal_kwh is not null) then sum(equal_kwh order by pump_id) end as baseline_equal_kwh,
        sum(equal_power_off order by pump_id) as equal_power_off,
        sum(coalesce(equal_below, 0) order by pump_id) as equal_below,
        sum(coalesce(equal_above, 0) order by pump_id) as equal_above,
        string_agg(distinct evidence, ', ' order by evidence) as evidence,
        string_agg(distinct energy_source, ', ' order by energy_source) as energy_source,
        string_agg(distinct volume_source, ', ' order by volume_source) as volume_source
    from baseline_day
    group by site_id, day_local
),
struck as (
    select site_id, day_local, min(reason) as struck_reason from struck_day group by site_id, day_local
),
idle as (
    select site_id, day_local, max(observed_min) as idle_min from idle_day group by site_id, day_local
),
dry as (
    select
        site_id, day_local, max(dry_min) as dry_min, string_agg(pump_id, ' and ' order by pump_id) as dry_pumps
    from dry_day
    group by site_id, day_local
),
savings_day as (
    select
        site_days.*,
        site.season, site.required_turnovers,
        struck.struck_reason, idle.idle_min, dry.dry_min, dry.dry_pumps,
        coalesce(site.required_turnovers * site.pool_volume_m3, baseline_volume_m3) as required_m3,
        case when believed then measured_kwh end as day_kwh,
        case when believed then baseline_kwh - measured_kwh end as raw_mid,
        sqrt(pow(baseline_off, 2) + pow(measured_above, 2)) as raw_below,
        sqrt(pow(baseline_off, 2) + pow(measured_below, 2)) as raw_above,
        case when believed then baseline_equal_kwh - measured_kwh end as equal_mid,
        sqrt(pow(equal_power_off, 2) + pow(equal_below, 2) + pow(measured_above, 2)) as equal_off_below,
        sqrt(pow(equal_power_off, 2) + pow(equal_above, 2) + pow(measured_below, 2)) as equal_off_above
    from site_days
    join site using (site_id)
    left join struck using (site_id, day_local)
    left join idle using (site_id, day_local)
    left join dry using (site_id, day_local)
    order by site_id, day_local
)
select * from savings_day
