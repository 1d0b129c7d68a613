-- Readings by pump and time, the order that steady.sql walks along: one sort, and no window over ten million rows has
--   to sort again.
-- Grain: reading. Inputs: reading (columns of readings, one row per pump and instant); export_hold (export_id, hold_s,
--   gap_limit_s); bad_value (pump_id, time_utc, quantity), values that are no measurement; counter_mended (pump_id,
--   time_utc, energy_total_kwh), what stands in place of a counter that fell.
-- Parameters: $from_utc, $to_utc, the days asked for and a gap limit on either side; $off_below_rpm, a slower shaft
--   stands;
--   $shared, some pumps have logs of several sources, under names as reading_by_log.sql gives them;
--   $from_pump, $to_pump, the pumps that are walked along in one go, which bounds the memory;
--   $idle_w, a pump without logged speed or flow runs above this.
-- Output: pump_id, time_utc, day_local, is_on (null not known), speed_rpm, power_w, energy_total_kwh, flow_m3h, aux_on;
--   interval_s, null for instants and changes of state; hold_s, gap_limit_s; is_apart, joins
--   no stretch.
with bad as (
    select
        pump_id,
        time_utc,
        bool_or(quantity = 'speed') as speed,
        bool_or(quantity = 'power') as power,
        bool_or(quantity = 'flow') as flow
    from bad_value
    group by pump_id, time_utc
),

source as (
    select
        reading.* replace (
            if(bad.speed, null, reading.speed_rpm) as speed_rpm,
            if(bad.power, null, reading.power_w) as power_w,
            if(bad.flow, null, reading.flow_m3h) as flow_m3h,
            coalesce(counter_mended.energy_total_kwh, reading.energy_total_kwh) as energy_total_kwh
        ),
        export_hold.hold_s,
        export_hold.gap_limit_s
    from reading
    join export_hold using (export_id)
    left join bad on reading.pump_id = bad.pump_id and reading.time_utc = bad.time_utc
    left join counter_mended
        on reading.pump_id = counter_mended.pump_id and reading.time_utc = counter_mended.time_utc
    where reading.time_utc between $from_utc and $to_utc and reading.pump_id between $from_pump and $to_pump
),

ordered as (
    select
        pump_id,
        time_utc,
        day_local,
        coalesce(speed_rpm >= $off_below_rpm, flow_m3h > 0, power_w > $idle_w) as is_on,
        speed_rpm,
        power_w,
        energy_total_kwh,
        flow_m3h,
        aux_on,
        interval_s,
        hold_s,
        gap_limit_s,
        -- The energy log of a pump whose speed another log tells knows nothing of the speeds it adds up.
        $shared and speed_rpm is null and contains(pump_id, chr(31)) as is_apart
    from source
    order by pump_id, time_utc
)

select * from ordered
