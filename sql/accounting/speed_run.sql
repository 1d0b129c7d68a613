-- The speeds that a pump held steadily, with its flow and wire power there: metered where metered, else by the grid.
-- Grain: one pump at one speed of the 25 rpm grid.
-- Inputs: span (tables.SPANS), pump, power_point (as power_points.sql gives it), speed_grid (tables.SPEED_GRID),
--   loading (account_tables.LOADING), by which the flow of the grid is multiplied where the filter has loaded,
--   pump_doubt (pump_id, doubt).
-- Parameters: $least_span_min shortest span that counts as steady [min]; $least_stretch_min least length of a speed's
--   longest stretch for the speed to be listed [min]; $meter_accuracy of the energy meter, share; $flow_meter_accuracy
--   of a flow meter, share.
-- Columns: site_id; pump_id; speed_rpm [rev/min]; run_min, longest_min [min]; flow_m3h_lo, _mid, _hi [m3/h];
--   flow_source; power_w_lo, _mid, _hi [W]; power_source.
-- The mean of a log's interval in which the pump started or changed is no speed that it ran at: a speed whose longest
-- stretch is short is left out. So is priming, and a pump whose data are in doubt.
with steady as (
    select
        span.pump_id,
        cast(round(span.speed_rpm / 25) * 25 as bigint) as speed_rpm,
        span.start_utc, span.duration_min, span.flow_m3h,
        -- No factor: the grid's flow stands as it is.
        coalesce(loading.flow_factor_lo, 1) as factor_lo,
        coalesce(loading.flow_factor_mid, 1) as factor_mid,
        coalesce(loading.flow_factor_hi, 1) as factor_hi
    from span
    left join loading on loading.pump_id = span.pump_id and loading.day_local = span.day_local
    where kind = 'run'
        and cause <> 'priming'
        and span.speed_rpm > 0
        and duration_min >= $least_span_min
        and span.pump_id not in (select pump_id from pump_doubt)
),
held as (
    select
        pump_id, speed_rpm,
        sum(duration_min order by start_utc) as run_min,
        max(duration_min) as longest_min,
        median(flow_m3h) as metered_m3h,
        sum(duration_min * factor_lo order by start_utc) / run_min as factor_lo,
        sum(duration_min * factor_mid order by start_utc) / run_min as factor_mid,
        sum(duration_min * factor_hi order by start_utc) / run_min as factor_hi
    from steady
    group by pump_id, speed_rpm
    having max(duration_min) >= $least_stretch_min
),
speed_run as (
    select
        pump.site_id, held.pump_id, held.speed_rpm, held.run_min, held.longest_min,
        coalesce(held.metered_m3h * (1 - $flow_meter_accuracy), held.factor_lo * grid.flow_m3h_lo) as flow_m3h_lo,
        coalesce(held.metered_m3h, held.factor_mid * grid.flow_m3h_mid) as flow_m3h_mid,
        coalesce(held.metered_m3h * (1 + $flow_meter_accuracy), held.factor_hi * grid.flow_m3h_hi) as flow_m3h_hi,
        case
            when held.metered_m3h is not null then 'metered'
            when grid.flow_m3h_mid is not null then grid.flow_source
            else 'none'
        end as flow_source,
        coalesce(point.power_w * (1 - $meter_accuracy), grid.power_w_lo) as power_w_lo,
        coalesce(point.power_w, grid.power_w_mid) as power_w_mid,
        coalesce(point.power_w * (1 + $meter_accuracy), grid.power_w_hi) as power_w_hi,
        case
            when point.power_w is not null then 'metered'
            when grid.power_w_mid is not null then grid.power_source
            else 'none'
        end as power_source
    from held
    join pump using (pump_id)
    left join power_point as point on point.pump_id = held.pump_id and point.speed_rpm = held.speed_rpm
    left join speed_grid as grid on grid.pump_id = held.pump_id and grid.speed_rpm = held.speed_rpm
    order by held.pump_id, held.speed_rpm
)
select * from speed_run
