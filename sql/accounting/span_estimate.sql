-- Water and energy of every span whose speed is known: metered where it was metered, by the speed grid elsewhere.
-- Grain: one span of kind run or off.
-- Inputs: span (tables.SPANS), speed_grid (tables.SPEED_GRID); loading (account_tables.LOADING), by which the flow of
--   the grid is multiplied where the filter has loaded; aux_draw (columns of aux_draw.sql), what is taken out of
--   metered energy while the auxiliary load is on.
-- Parameters: $meter_accuracy of the energy meter, share; $flow_meter_accuracy of a flow meter, share;
--   $standby_w highest standby draw of a pump that is off and not metered [W].
-- Columns: pump_id; day_local; start_utc; end_utc; duration_min; kind; speed_rpm; aux_on;
--   volume_m3_lo, _mid, _hi [m3], null where the flow at this speed is unknown; flow_from: metered, commissioned, curve
--   or none; energy_kwh_lo, _mid, _hi [kWh], null where the power at this speed is unknown;
--   energy_from: metered power, counter, fitted curve, standby or none; power_w_hi [W] while it runs;
--   curve_kwh by the speed grid alone, running spans only, null where it has no power [kWh].
-- Between grid speeds flow and power are linear; one step outside the known speeds the last known value stands.
-- Off and not metered: 0, and at most the standby draw, which no fit can tell.
with top as (
    select pump_id, max(speed_rpm) as top_rpm from speed_grid group by pump_id
),
placed as (
    select
        span.pump_id, span.day_local, span.start_utc, span.end_utc, span.kind, span.speed_rpm, span.aux_on,
        span.power_w, span.energy_kwh, span.flow_m3h,
        epoch(span.end_utc - span.start_utc) / 60 as duration_min,
        -- A logged speed jitters: up to one grid step above full speed is full speed.
        case
            when span.kind = 'off' then 0
            when span.speed_rpm <= top.top_rpm + 25 then least(span.speed_rpm, top.top_rpm)
        end as grid_rpm
    from span
    left join top using (pump_id)
    where span.kind in ('run', 'off')
),
neighbours as (
    select
        placed.*,
        grid_rpm / 25 - floor(grid_rpm / 25) as part,
        low, high,
        coalesce(low.flow_source, 'none') as flow_source,
        -- No factor: the grid's flow stands as it is.
        coalesce(loading.flow_factor_lo, 1) as factor_lo,
        coalesce(loading.flow_factor_mid, 1) as factor_mid,
        coalesce(loading.flow_factor_hi, 1) as factor_hi,
        if(placed.aux_on and aux_draw.constant, aux_draw.aux_w_lo, 0) as aux_w_lo,
        if(placed.aux_on and aux_draw.constant, aux_draw.aux_w_mid, 0) as aux_w_mid,
        if(placed.aux_on and aux_draw.constant, aux_draw.aux_w_hi, 0) as aux_w_hi
    from placed
    left join loading on loading.pump_id = placed.pump_id and loading.day_local = placed.day_local
    left join aux_draw on aux_draw.pump_id = placed.pump_id
    left join speed_grid as low
        on low.pump_id = placed.pump_id and low.speed_rpm = cast(floor(grid_rpm / 25) * 25 as bigint)
    left join speed_grid as high
        on high.pump_id = placed.pump_id and high.speed_rpm = cast(ceil(grid_rpm / 25) * 25 as bigint)
),
read_off as (
    select
        * exclude (low, high, part),
        factor_lo * coalesce(
            low.flow_m3h_lo + part * (high.flow_m3h_lo - low.flow_m3h_lo), low.flow_m3h_lo, high.flow_m3h_lo
        ) as grid_flow_lo,
        factor_mid * coalesce(
            low.flow_m3h_mid + part * (high.flow_m3h_mid - low.flow_m3h_mid), low.flow_m3h_mid, high.flow_m3h_mid
        ) as grid_flow_mid,
        factor_hi * coalesce(
            low.flow_m3h_hi + part * (high.flow_m3h_hi - low.flow_m3h_hi), low.flow_m3h_hi, high.flow_m3h_hi
        ) as grid_flow_hi,
        coalesce(
            low.power_w_lo + part * (high.power_w_lo - low.power_w_lo), low.power_w_lo, high.power_w_lo
        ) as grid_power_lo,
        coalesce(
            low.power_w_mid + part * (high.power_w_mid - low.power_w_mid), low.power_w_mid, high.power_w_mid
        ) as grid_power_mid,
        coalesce(
            low.power_w_hi + part * (high.power_w_hi - low.power_w_hi), low.power_w_hi, high.power_w_hi
        ) as grid_power_hi
    from neighbours
),
sourced as (
    select
        *,
        case
            when flow_m3h is not null then 'metered'
            when grid_flow_mid is not null then flow_source
            else 'none'
        end as flow_from,
        case
            when energy_kwh is not null and power_w is not null then 'metered power'
            when energy_kwh is not null then 'counter'
            when kind = 'off' then 'standby'
            when grid_power_mid is not null then 'fitted curve'
            else 'none'
        end as energy_from
    from read_off
),
estimates as (
    select
        pump_id, day_local, start_utc, end_utc, duration_min, kind, speed_rpm, aux_on,
        duration_min / 60 * coalesce(flow_m3h * (1 - $flow_meter_accuracy), grid_flow_lo) as volume_m3_lo,
        duration_min / 60 * coalesce(flow_m3h, grid_flow_mid) as volume_m3_mid,
        duration_min / 60 * coalesce(flow_m3h * (1 + $flow_meter_accuracy), grid_flow_hi) as volume_m3_hi,
        flow_from,
        case
            when energy_kwh is not null
                then greatest(energy_kwh * (1 - $meter_accuracy) - duration_min / 60000 * aux_w_hi, 0)
            when kind = 'off' then 0
            else duration_min / 60000 * grid_power_lo
        end as energy_kwh_lo,
        case
            when energy_kwh is not null then greatest(energy_kwh - duration_min / 60000 * aux_w_mid, 0)
            when kind = 'off' then 0
            else duration_min / 60000 * grid_power_mid
        end as energy_kwh_mid,
        case
            when energy_kwh is not null
                then greatest(energy_kwh * (1 + $meter_accuracy) - duration_min / 60000 * aux_w_lo, 0)
            when kind = 'off' then duration_min / 60000 * $standby_w
            else duration_min / 60000 * grid_power_hi
        end as energy_kwh_hi,
        energy_from,
        case
            when kind = 'off' then null
            when energy_kwh is not null then energy_kwh * (1 + $meter_accuracy) * 60000 / duration_min
            else grid_power_hi
        end as power_w_hi,
        case when kind = 'run' then duration_min / 60000 * grid_power_mid end as curve_kwh
    from sourced
    where duration_min > 0
    order by pump_id, start_utc
)
select * from estimates
