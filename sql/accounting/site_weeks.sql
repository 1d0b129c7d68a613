-- The week of each site: is it reporting, is it believed, and its sums.
-- Grain: site. Inputs: site; pump; daily (of the week); savings (of the week); best_plan; doubt (site_id, pump_id,
--   doubt).
-- Parameters: $least_days, believed days for the site to be believed.
-- Output: the columns of site_weeks. Energy sums believed days only; turnovers are means of believed days; a sum over
--   no day is null.
-- A site day is believed when every pump of the site is; the energy interval adds the bounds, as one meter class errs
--   one way.
with source as (
    select * from daily
),

site_day as (
    select
        site_id,
        day_local,
        bool_and(believed) as believed,
        bool_and(valid) as valid,
        sum(observed_min order by pump_id) as observed_min,
        sum(day_min) as day_min,
        if(count(turnovers_lo) = count(*), sum(turnovers_lo order by pump_id), null) as turnovers_lo,
        if(count(turnovers_mid) = count(*), sum(turnovers_mid order by pump_id), null) as turnovers_mid,
        if(count(turnovers_hi) = count(*), sum(turnovers_hi order by pump_id), null) as turnovers_hi,
        if(count(energy_kwh_mid) = count(*), sum(energy_kwh_lo order by pump_id), null) as energy_kwh_lo,
        if(count(energy_kwh_mid) = count(*), sum(energy_kwh_mid order by pump_id), null) as energy_kwh_mid,
        if(count(energy_kwh_mid) = count(*), sum(energy_kwh_hi order by pump_id), null) as energy_kwh_hi,
        if(count(cost) = count(*), sum(cost order by pump_id), null) as cost
    from source
    group by site_id, day_local
),

week as (
    select
        site_id,
        sum(observed_min order by day_local) > 0 as reporting,
        count(*) filter (where believed) as valid_days,
        sum(observed_min order by day_local) / sum(day_min) as coverage,
        avg(turnovers_lo order by day_local) filter (where believed) as turnovers_lo,
        avg(turnovers_mid order by day_local) filter (where believed) as turnovers_mid,
        avg(turnovers_hi order by day_local) filter (where believed) as turnovers_hi,
        sum(energy_kwh_lo order by day_local) filter (where believed) as energy_kwh_lo,
        sum(energy_kwh_mid order by day_local) filter (where believed) as energy_kwh_mid,
        sum(energy_kwh_hi order by day_local) filter (where believed) as energy_kwh_hi,
        sum(cost order by day_local) filter (where believed) as cost
    from site_day
    group by site_id
),

saved as (
    select
        site_id,
        sum(baseline_kwh order by day_local) filter (where counted) as baseline_kwh,
        count(*) filter (where counted) as counted_days,
        sum(raw_kwh_lo order by day_local) filter (where counted) as raw_kwh_lo,
        sum(raw_kwh_mid order by day_local) filter (where counted) as raw_kwh_mid,
        sum(raw_kwh_hi order by day_local) filter (where counted) as raw_kwh_hi,
        sum(equal_kwh_lo order by day_local) filter (where counted) as equal_kwh_lo,
        sum(equal_kwh_mid order by day_local) filter (where counted) as equal_kwh_mid,
        sum(equal_kwh_hi order by day_local) filter (where counted) as equal_kwh_hi
    from savings
    group by site_id
),

planned as (
    select
        site_id,
        if(count(energy_kwh_day) = count(*), 7 * sum(energy_kwh_day order by pump_id), null) as best_plan_kwh,
        if(count(cost_day) = count(*), 7 * sum(cost_day order by pump_id), null) as best_plan_cost
    from best_plan
    group by site_id
),

doubted as (
    select site_id, min(doubt) as doubt from doubt group by site_id
),

site_weeks as (
    select
        site.site_id,
        coalesce(week.reporting, false) as reporting,
        coalesce(week.valid_days >= $least_days, false) and doubted.doubt is null as believable,
        case
            when doubted.doubt is not null then doubted.doubt
            when site.season = 'closed' and not coalesce(week.reporting, false) then 'closed for the season, silent as expected'
            when not coalesce(week.reporting, false) then 'no reading in the week'
            when week.valid_days < $least_days then format('only {} of 7 days can be believed: data is missing', week.valid_days)
            else ''
        end as doubt,
        coalesce(week.valid_days, 0) as valid_days,
        coalesce(week.coverage, 0) as coverage,
        week.turnovers_lo,
        week.turnovers_mid,
        week.turnovers_hi,
        site.required_turnovers,
        week.energy_kwh_lo,
        week.energy_kwh_mid,
        week.energy_kwh_hi,
        week.cost,
        planned.best_plan_kwh,
        planned.best_plan_cost,
        saved.baseline_kwh,
        coalesce(saved.counted_days, 0) as counted_days,
        saved.raw_kwh_lo,
        saved.raw_kwh_mid,
        saved.raw_kwh_hi,
        saved.equal_kwh_lo,
        saved.equal_kwh_mid,
        saved.equal_kwh_hi
    from site
    left join week using (site_id)
    left join saved using (site_id)
    left join planned using (site_id)
    left join doubted using (site_id)
    order by site.site_id
)

select * from site_weeks
