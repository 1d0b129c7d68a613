-- What lies between neighbouring readings, added up: one walk along the readings, for all modes that look at steps.
-- Grain: pump, local day, length of the step in whole seconds. Inputs: reading (columns of readings, one row a pump and
--   instant); export_hold (export_id, hold_s, gap_limit_s).
-- Parameters: $running_rpm, a pump at this speed or above runs [rev/min]; $speed_change_rpm, a greater step of the
--   speed is a change [rev/min]; $differences, equal first differences that make a straight line; $from_pump,
--   $to_pump, the pumps that are looked at, which bounds the memory.
-- Output: pump_id, day_local, step_s; steps; sampled_n (steps within exports that log at fixed times); stuck_n (same
--   power across a change of speed); straight_n (ends of what may be a straight line); and, over steps no longer than
--   the gap limit: run_ms, both ends run [ms]; rise_nwh, counted energy [nWh] over rise_ms [ms] of these;
--   both_nwh, counted energy where power was logged as well, and both_uj, that power held [uJ];
--   hours_ms, rise of the run counter [ms] over hours_run_ms [ms] of these.
-- A counter that falls makes no rise. A line is only looked for roughly here, at five points within a fifth of one
--   difference: straight_line.sql looks closer.
with source as (
    select
        reading.pump_id,
        time_utc,
        day_local,
        speed_rpm,
        power_w,
        energy_total_kwh,
        run_total_h,
        coalesce(power_w, speed_rpm, flow_m3h) as value,
        export_hold.hold_s,
        export_hold.gap_limit_s
    from reading join export_hold using (export_id)
    where reading.pump_id between $from_pump and $to_pump
),

neighboured as (
    select
        *,
        epoch_ms(time_utc) - epoch_ms(lag(time_utc) over neighbours) as step_ms,
        epoch_ms(time_utc) - epoch_ms(lag(time_utc, $differences) over neighbours) as line_ms,
        lag(speed_rpm) over neighbours as speed_rpm_1,
        lag(power_w) over neighbours as power_w_1,
        energy_total_kwh - lag(energy_total_kwh) over neighbours as rise_kwh,
        run_total_h - lag(run_total_h) over neighbours as rise_h,
        lag(value, ($differences // 6)::int) over neighbours as value_1,
        lag(value, ($differences * 2 // 6)::int) over neighbours as value_2,
        lag(value, ($differences * 3 // 6)::int) over neighbours as value_3,
        lag(value, ($differences * 4 // 6)::int) over neighbours as value_4,
        lag(value, ($differences * 5 // 6)::int) over neighbours as value_5,
        lag(value, $differences) over neighbours as value_6
    from source
    window neighbours as (partition by pump_id order by time_utc)
),

judged as (
    select
        *,
        step_ms <= gap_limit_s * 1000 as close,
        speed_rpm >= $running_rpm and speed_rpm_1 >= $running_rpm as runs,
        power_w = power_w_1 and power_w > 0 and abs(speed_rpm - speed_rpm_1) > $speed_change_rpm as stuck,
        (value - value_6) / $differences as difference
    from neighboured
    where step_ms is not null
),

reading_step as (
    select
        pump_id,
        day_local,
        round(step_ms / 1000)::bigint as step_s,
        count(*) as steps,
        count(*) filter (where hold_s > 0) as sampled_n,
        count(*) filter (where stuck and close) as stuck_n,
        count(*) filter (
            where value <> value_6
            and abs(line_ms - $differences * step_ms) <= 0.1 * line_ms
            and abs(value_1 - (value - difference * ($differences // 6))) <= 0.2 * abs(difference)
            and abs(value_2 - (value - difference * ($differences * 2 // 6))) <= 0.2 * abs(difference)
            and abs(value_3 - (value - difference * ($differences * 3 // 6))) <= 0.2 * abs(difference)
            and abs(value_4 - (value - difference * ($differences * 4 // 6))) <= 0.2 * abs(difference)
            and abs(value_5 - (value - difference * ($differences * 5 // 6))) <= 0.2 * abs(difference)
        ) as straight_n,
        sum(step_ms) filter (where close and runs) as run_ms,
        sum(step_ms) filter (where close and runs and rise_kwh >= 0) as rise_ms,
        sum((rise_kwh * 1e12)::bigint) filter (where close and runs and rise_kwh >= 0) as rise_nwh,
        sum((rise_kwh * 1e12)::bigint) filter (where close and power_w_1 is not null and rise_kwh >= 0) as both_nwh,
        sum((power_w_1 * 1e3)::bigint * step_ms) filter (where close and rise_kwh >= 0) as both_uj,
        sum(step_ms) filter (where close and runs and rise_h >= 0) as hours_run_ms,
        sum((rise_h * 3.6e6)::bigint) filter (where close and runs and rise_h >= 0) as hours_ms
    from judged
    group by pump_id, day_local, step_s
)

select * from reading_step
