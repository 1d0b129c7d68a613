-- Every way in which the fleet's energy and savings of the week may err, by site, and what it shares with other sites.
-- Grain: one quantity, site, kind of term and shared cause.
-- Inputs: baseline_day, savings (tables.SAVINGS), pump, speed_grid (tables.SPEED_GRID).
-- Parameters: $meter_accuracy of the energy meters, share.
-- Columns: quantity: energy, raw saving or equal-volume saving; site_id; kind: meter, other energy, baseline or volume;
--   shared: what errs the same way at every site that names it, empty for a term of the site's own;
--   below, above: how far the quantity may fall short of, or pass, its middle value through this [kWh].
-- Days and pumps of one site add straight: they share meter, curve and memory. A day's unknown minutes, the last digit
-- of a counter and the scatter of a fitted curve are the site's own; the accuracy class of the meters is the fleet's.
-- The energies are those of believed days; the savings those of counted days.
with power_source as (
    select pump_id, max(power_source) as power_source from speed_grid where power_source <> 'none' group by pump_id
),
pump_day as (
    select
        baseline_day.site_id, baseline_day.day_local, baseline_day.pump_id,
        bool_and(baseline_day.believed and baseline_day.energy_kwh_mid is not null)
            over (partition by baseline_day.site_id, baseline_day.day_local) as energy_counts,
        coalesce(savings.counted, false) as saving_counts,
        energy_kwh_mid - energy_kwh_lo as energy_below,
        energy_kwh_hi - energy_kwh_mid as energy_above,
        case
            when energy_source in ('metered power', 'counter', 'mixed') then $meter_accuracy * energy_kwh_mid
            when energy_source = 'fitted curve' and power_source.power_source like '%readings%'
                then $meter_accuracy * energy_kwh_mid
            else 0
        end as meter_off,
        energy_source in ('metered power', 'counter', 'mixed') as metered,
        case when power_source.power_source like '%efficiency%' and energy_source = 'fitted curve'
            then 'powers from a stated efficiency' else '' end as power_shared,
        baseline_off, equal_power_off, equal_below, equal_above,
        case when evidence = 'stipulated' then 'stipulated baselines' else '' end as baseline_shared,
        case
            when volume_source = 'metered' then 'flow meters'
            when volume_source like 'commissioned%' or volume_source like '%reading%' or volume_source like '%gauge%'
                then ''
            else concat('flows by curve ', pump.curve)
        end as volume_shared
    from baseline_day
    join pump using (pump_id)
    left join savings
        on savings.site_id = baseline_day.site_id and savings.day_local = baseline_day.day_local
    left join power_source on power_source.pump_id = baseline_day.pump_id
),
parted as (
    -- A meter's own share of a measured day adds straight to the rest; of a fitted curve it is one of two squares.
    select
        *,
        case when metered then greatest(energy_below - meter_off, 0)
            else sqrt(greatest(pow(energy_below, 2) - pow(meter_off, 2), 0)) end as other_below,
        case when metered then greatest(energy_above - meter_off, 0)
            else sqrt(greatest(pow(energy_above, 2) - pow(meter_off, 2), 0)) end as other_above
    from pump_day
),
terms as (
    select 'energy' as quantity, site_id, day_local, pump_id, 'meter' as kind, 'energy meters' as shared,
        least(meter_off, energy_below) as below, meter_off as above
    from parted where energy_counts
    union all
    select 'energy', site_id, day_local, pump_id, 'other energy', power_shared, other_below, other_above
    from parted where energy_counts
    union all
    -- Energy that is higher makes a saving lower.
    select quantity, site_id, day_local, pump_id, 'meter', 'energy meters', meter_off, least(meter_off, energy_below)
    from parted, (values ('raw saving'), ('equal-volume saving')) as savings_kind(quantity) where saving_counts
    union all
    select quantity, site_id, day_local, pump_id, 'other energy', power_shared, other_above, other_below
    from parted, (values ('raw saving'), ('equal-volume saving')) as savings_kind(quantity) where saving_counts
    union all
    select 'raw saving', site_id, day_local, pump_id, 'baseline', baseline_shared, baseline_off, baseline_off
    from parted where saving_counts
    union all
    select
        'equal-volume saving', site_id, day_local, pump_id, 'baseline', baseline_shared, equal_power_off, equal_power_off
    from parted where saving_counts
    union all
    select 'equal-volume saving', site_id, day_local, pump_id, 'volume', volume_shared, equal_below, equal_above
    from parted where saving_counts
),
fleet_terms as (
    select
        quantity, site_id, kind, shared,
        sum(coalesce(below, 0) order by day_local, pump_id) as below,
        sum(coalesce(above, 0) order by day_local, pump_id) as above
    from terms
    group by quantity, site_id, kind, shared
    having sum(coalesce(below, 0)) > 0 or sum(coalesce(above, 0)) > 0
    order by quantity, site_id, kind, shared
)
select * from fleet_terms
