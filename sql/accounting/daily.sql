-- The local day of every pump: minutes, water, turnovers, energy and money, each with its range, and whether it may be
-- believed.
-- Grain: one pump and local day of the calendar; columns of tables.DAILY.
-- Inputs: unknown_bound, unknown_estimate, span_estimate, highest, day_cost, span (tables.SPANS), speed_grid
--   (tables.SPEED_GRID), pump, site, pump_doubt (pump_id, doubt).
-- Parameters: $least_coverage observed share of the day for a number to stand; $longest_gap_min longest gap of a valid
--   day [min]; $counter_step_kwh last digit of an energy counter [kWh]; $open_share of a day's energy that may hang on a
--   gap and the day still be metered.
-- Columns with units: tables.DAILY.
-- The range: _lo takes the unknown minutes as 'all off', _hi as 'all at plan' (unknown_bound.sql) or at the state
--   beside them, whichever is more. _mid on a valid day is what was observed and what the unknown minutes most likely
--   held
-- (unknown_estimate.sql); on any other day it is the observed sum, scaled by nothing, and only _lo to _hi may be read.
--   _mid is null on a day without any observed minute.
-- Running minutes whose flow or power is unknown: up to 1 - $least_coverage of the day they count nothing in _lo and
-- _mid and the most the pump does in _hi; beyond that the day's volume or energy is null, for missing is never zero.
with sums as (
    -- Sums of floating numbers are ordered, here and below: the same rows give the same last digit on any number of
    -- threads.
    select
        pump_id, day_local,
        coalesce(sum(duration_min order by start_utc) filter (kind = 'run'), 0) as run_min,
        coalesce(sum(duration_min order by start_utc) filter (aux_on), 0) as aux_on_min,
        count(aux_on) as aux_logged,
        sum(volume_m3_lo order by start_utc) as volume_m3_lo,
        sum(volume_m3_mid order by start_utc) as volume_m3_mid,
        sum(volume_m3_hi order by start_utc) as volume_m3_hi,
        coalesce(
            sum(duration_min order by start_utc) filter (kind = 'run' and volume_m3_mid is null), 0
        ) as no_flow_min,
        coalesce(
            sum(duration_min order by start_utc) filter (kind = 'run' and flow_from not in ('metered', 'none')), 0
        ) as grid_flow_min,
        coalesce(
            sum(duration_min order by start_utc) filter (kind = 'run' and flow_from = 'metered'), 0
        ) as metered_flow_min,
        sum(energy_kwh_lo order by start_utc) as energy_kwh_lo,
        sum(energy_kwh_mid order by start_utc) as energy_kwh_mid,
        sum(energy_kwh_hi order by start_utc) as energy_kwh_hi,
        coalesce(sum(duration_min order by start_utc) filter (energy_from = 'none'), 0) as no_energy_min,
        coalesce(
            sum(duration_min order by start_utc) filter (energy_from in ('metered power', 'counter')), 0
        ) as metered_min,
        count(*) filter (energy_from = 'counter') > 0 as counted,
        count(distinct energy_from) filter (
            energy_from in ('metered power', 'counter', 'fitted curve')
        ) as energy_sources,
        max(energy_from) filter (energy_from in ('metered power', 'counter', 'fitted curve')) as energy_from
    from span_estimate
    group by pump_id, day_local
),
changes as (
    select
        pump_id, day_local, kind, start_utc,
        lag(kind) over in_time as kind_before,
        lag(end_utc) over in_time as end_before
    from span
    window in_time as (partition by pump_id order by start_utc)
),
filled as (
    -- One unknown minute without an estimate leaves the day's estimate out altogether.
    select
        pump_id, day_local,
        if(count(volume_m3_mid) = count(*), sum(volume_m3_mid order by start_utc), 0) as volume_m3_mid,
        if(count(volume_m3_hi) = count(*), sum(volume_m3_hi order by start_utc), 0) as volume_m3_hi,
        if(count(energy_kwh_mid) = count(*), sum(energy_kwh_mid order by start_utc), 0) as energy_kwh_mid,
        if(count(energy_kwh_hi) = count(*), sum(energy_kwh_hi order by start_utc), 0) as energy_kwh_hi,
        sum(energy_kwh_open order by start_utc) as energy_kwh_open
    from unknown_estimate
    group by pump_id, day_local
),
starts as (
    select pump_id, day_local, count(*) as starts
    from changes
    where kind = 'run' and kind_before = 'off' and end_before = start_utc
    group by pump_id, day_local
),
pump_flow as (
    select pump_id, any_value(flow_source) as flow_source from speed_grid where flow_source <> 'none' group by pump_id
),
pump_power as (
    select pump_id, max(energy_from) filter (energy_from <> 'standby') as energy_from
    from span_estimate
    where energy_from <> 'none'
    group by pump_id
),
grid_power as (
    select pump_id from speed_grid where power_w_mid is not null group by pump_id
),
joined as (
    select
        pump.site_id, bound.pump_id, bound.day_local, bound.day_min, bound.observed_min,
        coalesce(sums.run_min, 0) as run_min,
        bound.longest_gap_min,
        least(bound.observed_min / bound.day_min, 1) as coverage,
        coalesce(sums.metered_min, 0) / bound.day_min as energy_coverage,
        coalesce(starts.starts, 0) as starts,
        site.pool_volume_m3,
        bound.pump_id in (select pump_id from pump_doubt) as doubted,
        highest.flow_m3h_hi is not null
            and coalesce(sums.no_flow_min, 0) <= (1 - $least_coverage) * bound.day_min as flow_known,
        coalesce(sums.volume_m3_lo, 0) as volume_lo,
        case
            when bound.observed_min > 0 then coalesce(sums.volume_m3_mid, 0) + coalesce(filled.volume_m3_mid, 0)
        end as volume_mid,
        coalesce(sums.volume_m3_hi, 0)
            + if(bound.volume_m3_hi is null, null, greatest(bound.volume_m3_hi, coalesce(filled.volume_m3_hi, 0)))
            + coalesce(sums.no_flow_min, 0) / 60 * highest.flow_m3h_hi as volume_hi,
        case
            when sums.grid_flow_min > 0 then pump_flow.flow_source
            when sums.metered_flow_min > 0 then 'metered'
            else coalesce(pump_flow.flow_source, 'metered')
        end as flow_from,
        (highest.power_w_hi is not null or coalesce(sums.metered_min, 0) > 0)
            and coalesce(sums.no_energy_min, 0) <= (1 - $least_coverage) * bound.day_min as energy_source_known,
        -- A day by counter is the difference of two readings, each known to its last digit.
        greatest(coalesce(sums.energy_kwh_lo, 0) - if(coalesce(sums.counted, false), $counter_step_kwh, 0), 0) as energy_lo,
        case
            when bound.observed_min > 0 then coalesce(sums.energy_kwh_mid, 0) + coalesce(filled.energy_kwh_mid, 0)
        end as energy_mid,
        coalesce(sums.energy_kwh_hi, 0)
            + if(coalesce(sums.counted, false), $counter_step_kwh, 0)
            + if(bound.energy_kwh_hi is null, null, greatest(bound.energy_kwh_hi, coalesce(filled.energy_kwh_hi, 0)))
            + case
                when coalesce(sums.no_energy_min, 0) = 0 then 0
                else sums.no_energy_min / 60000 * highest.power_w_hi
            end as energy_hi,
        case
            when sums.energy_sources > 1 then 'mixed'
            -- Logged and estimated: a gap hides when the speed changed, and the day hangs on it.
            when sums.energy_from = 'metered power' and filled.energy_kwh_open > $open_share * sums.energy_kwh_mid then 'mixed'
            when sums.energy_sources = 1 then sums.energy_from
            when grid_power.pump_id is not null then 'fitted curve'
            else pump_power.energy_from
        end as energy_from,
        day_cost.peak_kwh as known_peak_kwh,
        day_cost.cost as known_cost,
        case when sums.aux_logged > 0 then sums.aux_on_min end as aux_min
    from unknown_bound as bound
    join pump using (pump_id)
    join site using (site_id)
    left join sums using (pump_id, day_local)
    left join filled using (pump_id, day_local)
    left join starts using (pump_id, day_local)
    left join highest using (pump_id)
    left join pump_flow using (pump_id)
    left join pump_power using (pump_id)
    left join grid_power using (pump_id)
    left join day_cost using (pump_id, day_local)
),
judged as (
    select
        *,
        coverage >= $least_coverage and longest_gap_min <= $longest_gap_min as valid,
        -- A pump that was never seen to run has no power to bound its unknown minutes with.
        energy_source_known and energy_hi is not null as energy_known
    from joined
),
daily as (
    select
        site_id, pump_id, day_local, day_min, observed_min, run_min, longest_gap_min, coverage, energy_coverage,
        valid,
        valid and not doubted as believed,
        starts,
        case when flow_known then volume_lo end as volume_m3_lo,
        case when flow_known then volume_mid end as volume_m3_mid,
        case when flow_known then volume_hi end as volume_m3_hi,
        case when flow_known then flow_from else 'none' end as volume_source,
        case when flow_known then volume_lo / pool_volume_m3 end as turnovers_lo,
        case when flow_known then volume_mid / pool_volume_m3 end as turnovers_mid,
        case when flow_known then volume_hi / pool_volume_m3 end as turnovers_hi,
        case when energy_known then energy_lo end as energy_kwh_lo,
        case when energy_known then energy_mid end as energy_kwh_mid,
        case when energy_known then energy_hi end as energy_kwh_hi,
        case when energy_known then energy_from else 'none' end as energy_source,
        case when energy_known and energy_mid is not null then known_peak_kwh end as peak_kwh,
        case when energy_known and energy_mid is not null then known_cost end as cost,
        aux_min
    from judged
    order by site_id, pump_id, day_local
)
select * from daily
