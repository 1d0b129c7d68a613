-- One site's local day against its single-speed baseline: raw, and at equal volume, with the reason where the day does
-- not count.
-- Grain: one site and local day; columns of tables.SAVINGS.
-- Inputs: daily (tables.DAILY), pump, site, speed_grid (tables.SPEED_GRID), struck_day (site_id, day_local, reason).
-- Parameters: half-widths as shares: $measured, $nameplate, $owner_record, $stipulated, $no_evidence of the baseline
--   power by evidence, $baseline_flow of a baseline flow in the register; $least_coverage as in daily.sql, for wording.
-- Columns with units: tables.SAVINGS.
-- Raw: baseline power x recorded hours, less measured energy. Equal volume: baseline power x (volume / baseline flow),
-- less measured. No number at all where a pump's day is not believed: savings of missing time are not savings (CalTRACK
-- 2.0, 3.5.4.1).
-- Baseline flow and volume that come off one system curve err together, so their ratio is taken at both ends of the
-- curve; all other terms are independent and add in quadrature. Terms of one kind add straight over the pumps of a
-- site, which share meters and memory.
-- Service: the required turnovers where entered, else the water the baseline moved in its hours; a day whose upper
-- bound of volume falls short of it does not count. Reasons are tried in the order of the case below.
with full_speed as (
    select
        pump.pump_id,
        speed_grid.flow_m3h_lo, speed_grid.flow_m3h_mid, speed_grid.flow_m3h_hi
    from pump
    join speed_grid
        on speed_grid.pump_id = pump.pump_id
        and speed_grid.speed_rpm = cast(round(pump.full_speed_rpm / 25) * 25 as bigint)
    where speed_grid.flow_m3h_mid > 0
),
baseline as (
    select
        pump.pump_id,
        pump.baseline_power_w as power_w,
        pump.baseline_hours_per_day as hours,
        coalesce(pump.baseline_flow_m3h * (1 - $baseline_flow), full_speed.flow_m3h_lo) as flow_lo,
        coalesce(pump.baseline_flow_m3h, full_speed.flow_m3h_mid) as flow_mid,
        coalesce(pump.baseline_flow_m3h * (1 + $baseline_flow), full_speed.flow_m3h_hi) as flow_hi,
        pump.baseline_flow_m3h is null as flow_from_curve,
        coalesce(pump.baseline_evidence, 'no evidence recorded') as evidence,
        case pump.baseline_evidence
            when 'measured' then $measured
            when 'nameplate' then $nameplate
            when 'owner record' then $owner_record
            when 'stipulated' then $stipulated
            else $no_evidence
        end as power_half_width
    from pump
    left join full_speed using (pump_id)
),
pump_days as (
    select
        daily.*,
        baseline.* exclude (pump_id),
        baseline.power_w * baseline.hours / 1000 as baseline_kwh,
        baseline.power_w / 1000 * daily.volume_m3_mid / baseline.flow_mid as equal_kwh,
        baseline.flow_from_curve and daily.volume_source in ('commissioned', 'curve') as errs_together
    from daily
    join baseline using (pump_id)
),
terms as (
    select
        *,
        baseline_kwh * power_half_width as baseline_off,
        equal_kwh * power_half_width as equal_power_off,
        -- How far the equal-volume energy may fall below, or rise above, its mid value through volume and flow.
        case when errs_together
            then greatest(
                equal_kwh - power_w / 1000 * least(volume_m3_lo / nullif(flow_lo, 0), volume_m3_hi / flow_hi), 0
            )
            else equal_kwh * sqrt(pow(1 - volume_m3_lo / nullif(volume_m3_mid, 0), 2) + pow(1 - flow_mid / flow_hi, 2))
        end as equal_below,
        case when errs_together
            then greatest(
                power_w / 1000 * greatest(volume_m3_lo / nullif(flow_lo, 0), volume_m3_hi / flow_hi) - equal_kwh, 0
            )
            else equal_kwh * sqrt(
                pow(volume_m3_hi / nullif(volume_m3_mid, 0) - 1, 2) + pow(flow_mid / nullif(flow_lo, 0) - 1, 2)
            )
        end as equal_above
    from pump_days
),
site_days as (
    select
        site_id, day_local,
        min(coverage) as coverage,
        bool_and(valid) as valid,
        bool_and(believed) as believed,
        max(longest_gap_min) as longest_gap_min,
        -- A sum over pumps of which one is unknown is unknown.
        case when bool_and(energy_kwh_mid is not null) then sum(energy_kwh_mid order by pump_id) end as measured_kwh,
        sum(energy_kwh_mid - energy_kwh_lo order by pump_id) as measured_below,
        sum(energy_kwh_hi - energy_kwh_mid order by pump_id) as measured_above,
        case when bool_and(cost is not null) then sum(cost order by pump_id) end as cost,
        case when bool_and(volume_m3_hi is not null) then sum(turnovers_hi order by pump_id) end as turnovers_hi,
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
    from terms
    group by site_id, day_local
),
numbers as (
    select
        site_days.*,
        site.season, site.required_turnovers,
        struck.reason as struck_reason,
        case when believed then measured_kwh end as day_kwh,
        case when believed then baseline_kwh - measured_kwh end as raw_mid,
        sqrt(pow(baseline_off, 2) + pow(measured_above, 2)) as raw_below,
        sqrt(pow(baseline_off, 2) + pow(measured_below, 2)) as raw_above,
        case when believed then baseline_equal_kwh - measured_kwh end as equal_mid,
        sqrt(pow(equal_power_off, 2) + pow(equal_below, 2) + pow(measured_above, 2)) as equal_off_below,
        sqrt(pow(equal_power_off, 2) + pow(equal_above, 2) + pow(measured_below, 2)) as equal_off_above
    from site_days
    join site using (site_id)
    left join (
        select site_id, day_local, min(reason) as reason from struck_day group by site_id, day_local
    ) as struck using (site_id, day_local)
),
reasons as (
    select
        *,
        case
            when struck_reason is not null then struck_reason
            when season = 'closed' then 'closed for the season'
            when baseline_kwh is null then 'no baseline recorded for every pump'
            when coverage < $least_coverage
                then printf(
                    '%d %% of the day observed, %d %% needed',
                    cast(floor(coverage * 100) as integer),
                    cast(round($least_coverage * 100) as integer)
                )
            when not valid then printf('a gap of %d minutes', cast(ceil(longest_gap_min) as integer))
            when not believed then 'the data of a pump are in doubt'
            when measured_kwh is null then 'energy unknown: no meter and no fitted power curve'
            when baseline_equal_kwh is null and volume_m3_hi is null then 'volume unknown: no flow source'
            when baseline_equal_kwh is null
                then 'no baseline flow: no flow recorded and none by the curve at full speed'
            when required_turnovers is not null and turnovers_hi < required_turnovers
                then printf('filtered at most %.2f turnovers of %.2f required', turnovers_hi, required_turnovers)
            when required_turnovers is null and volume_m3_hi < baseline_volume_m3
                then 'no required turnovers entered, and filtered less than the baseline did'
            else ''
        end as reason
    from numbers
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
        equal_mid * cost / nullif(measured_kwh, 0) as equal_money_mid,
        concat('baseline ', evidence, '; energy ', energy_source, '; volume ', volume_source) as source
    from reasons
    order by site_id, day_local
)
select * from savings
