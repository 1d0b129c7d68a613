-- Readings by pump and time, the order that steady.sql walks along: one sort, and no window over ten million rows has
--   to sort again.
-- Grain: reading. Inputs: reading (columns of readings, one row per pump and instant); export_hold (export_id, hold_s,
--   gap_limit_s).
-- Parameters: $from_utc, $to_utc, the days asked for and a gap limit on either side; $off_below_rpm, a slower shaft
--   stands;
--   $idle_w, a pump without logged speed or flow runs above this.
-- Output: pump_id, time_utc, day_local, is_on (null not known), speed_rpm, power_w, energy_total_kwh, flow_m3h, aux_on;
--   interval_s, null for instants and changes of state; hold_s, gap_limit_s.
with source as (
    select reading.*, export_hold.hold_s, export_hold.gap_limit_s
    from reading join export_hold using (export_id)
    where reading.time_utc between $from_utc and $to_utc
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
        gap_limit_s
    from source
    order by pump_id, time_utc
)

select * from ordered
