-- The best energy factor that each pump held long enough.
-- Grain: one pump that held at least one steady speed.
-- Inputs: efficiency (tables.EFFICIENCY).
-- Parameters: $sustained_min shortest stretch that counts as sustained [min].
-- Columns: pump_id; best_state; best_speed_rpm [rev/min]; best_longest_min [min]; best_factor_m3kwh_lo, _mid, _hi
--   [m3/kWh].
-- Of equal factors the slower speed is named.
with candidates as (
    select
        *,
        longest_min >= $sustained_min and energy_factor_m3kwh_mid > 0 as counts
    from efficiency
),
ranked as (
    select
        *,
        row_number() over (
            partition by pump_id order by counts desc nulls last, energy_factor_m3kwh_mid desc nulls last, speed_rpm
        ) as place,
        max(longest_min) over (partition by pump_id) as longest_of_all,
        bool_or(gate = 'refused') over (partition by pump_id) as any_refused,
        bool_or(flow_m3h_mid is not null) over (partition by pump_id) as any_flow,
        bool_or(power_w_mid is not null) over (partition by pump_id) as any_power
    from candidates
),
best_factor as (
    select
        pump_id,
        case
            when counts then 'given'
            when not any_flow then 'no flow source'
            when not any_power then 'no wire power'
            when longest_of_all < $sustained_min then 'no speed held long enough'
            when any_refused then 'not possible by physics'
            else 'no water moved at any speed held'
        end as best_state,
        case when counts then speed_rpm end as best_speed_rpm,
        case when counts then longest_min end as best_longest_min,
        case when counts then energy_factor_m3kwh_lo end as best_factor_m3kwh_lo,
        case when counts then energy_factor_m3kwh_mid end as best_factor_m3kwh_mid,
        case when counts then energy_factor_m3kwh_hi end as best_factor_m3kwh_hi
    from ranked
    where place = 1
    order by pump_id
)
select * from best_factor
