-- Steps between neighbouring rows at which a logger's clock and its counters disagree, or its time steps back.
-- Grain: one row and the one before it of the same pump. Inputs: judged_row.
-- Parameters: $interval_s, nominal interval, null for changes of state; $tolerance_s, jitter of stamps [s]; $slack_min
--   and $slack_share, by how much clock and counter must disagree: both [min; share of the longer]; $most, rows of one
--   kind given for a pump.
-- Output: pump_id; kind 'clock set back', 'clock set forward' or 'rows step back'; sureness 'sure', 'likely' or
--   'possible'; line_before, line; time_before_utc, time_utc; clock_min, run_min and energy_min: how long the step was
--   by the clock, the run-hour counter and the energy counter at the power of both rows [min]; set_min, by how much the
--   clock was set forward [min], negative back; steps, all of this kind and pump, given or not.
-- A counter that counts faster than time shows a clock that was set back: sure where two counters say so. One that
--   counts slower shows a clock set forward only if the pump ran all the time: likely where it counted just one
--   interval, possible else; it must run in both rows, and the step must be longer than an interval. Counters that
--   fall, and two counters of which one agrees with the clock, are no matter of the clock. Counters in whole or tenth
--   units get a unit of slack more.
with source as (
    select
        pump_id,
        line,
        time_utc,
        power_w,
        coalesce(speed_rpm, power_w) as running,
        run_total_h,
        energy_total_kwh
    from judged_row
    where fate = 'readings' and coalesce(speed_rpm, power_w, run_total_h, energy_total_kwh) is not null
),

above as (
    select pump_id, time_utc, lag(time_utc) over (partition by pump_id order by line) as time_above from source
),

direction as (
    select pump_id, if(sum(sign(epoch(time_utc) - epoch(time_above))) < 0, -1, 1) as way from above group by pump_id
),

resolution as (
    select
        pump_id,
        case
            when bool_and(abs(run_total_h - round(run_total_h)) < 1e-6) then 1
            when bool_and(abs(run_total_h - round(run_total_h, 1)) < 1e-6) then 0.1
            else 0
        end as run_unit_h,
        case
            when bool_and(abs(energy_total_kwh - round(energy_total_kwh)) < 1e-6) then 1
            when bool_and(abs(energy_total_kwh - round(energy_total_kwh, 1)) < 1e-6) then 0.1
            else 0
        end as energy_unit_kwh
    from source
    group by pump_id
),

beside as (
    select
        source.*,
        resolution.run_unit_h,
        resolution.energy_unit_kwh,
        lag(line) over clock_order as line_before,
        lag(time_utc) over clock_order as time_before_utc,
        lag(running) over clock_order as running_before,
        (power_w + lag(power_w) over clock_order) / 2 as mean_power_w,
        abs(power_w - lag(power_w) over clock_order) as power_change_w,
        run_total_h - lag(run_total_h) over clock_order as run_rise_h,
        energy_total_kwh - lag(energy_total_kwh) over clock_order as energy_rise_kwh
    from source
    join direction on source.pump_id = direction.pump_id
    join resolution on source.pump_id = resolution.pump_id
    window clock_order as (partition by source.pump_id order by direction.way * source.line)
),

measured as (
    select
        *,
        (epoch(time_utc) - epoch(time_before_utc)) / 60 as clock_min,
        coalesce(running > 0 and running_before > 0, false) as runs,
        if(run_rise_h >= 0, run_rise_h * 60, null) as run_min,
        if(
            energy_rise_kwh >= 0 and mean_power_w > 0 and power_change_w <= 0.05 * mean_power_w,
            energy_rise_kwh * 60000 / mean_power_w,
            null
        ) as energy_min,
        $slack_min + 60 * run_unit_h as run_slack_min,
        $slack_min + 60000 * energy_unit_kwh / mean_power_w as energy_slack_min
    from beside
    where time_before_utc is not null
),

compared as (
    select
        *,
        case
            when abs(clock_min - run_min) <= greatest(run_slack_min, $slack_share * greatest(clock_min, run_min)) then 0
            else sign(clock_min - run_min)
        end as by_run,
        case
            when abs(clock_min - energy_min)
                <= greatest(energy_slack_min, $slack_share * greatest(clock_min, energy_min)) then 0
            else sign(clock_min - energy_min)
        end as by_energy
    from measured
),

told as (
    select
        *,
        case
            when least(by_run, by_energy) = -1 and greatest(by_run, by_energy) = -1 then 'clock set back'
            when
                least(by_run, by_energy) = 1
                and greatest(by_run, by_energy) = 1
                and runs
                and clock_min * 60 > 1.5 * coalesce($interval_s, 0)
                then 'clock set forward'
            when clock_min * 60 < -$tolerance_s then 'rows step back'
        end as kind
    from compared
),

clock_note as (
    select
        pump_id,
        kind,
        case
            when kind = 'clock set back' and by_run = -1 and by_energy = -1 then 'sure'
            when kind = 'clock set back' then 'likely'
            when
                kind = 'clock set forward'
                and abs(coalesce(run_min, energy_min) * 60 - $interval_s) <= greatest(60, 0.05 * $interval_s)
                then 'likely'
            else 'possible'
        end as sureness,
        line_before,
        line,
        time_before_utc,
        time_utc,
        clock_min,
        run_min,
        energy_min,
        if(kind = 'rows step back', null, clock_min - coalesce(run_min, energy_min)) as set_min,
        count(*) over (partition by pump_id, kind) as steps
    from told
    where kind is not null
    qualify row_number() over (partition by pump_id, kind order by line) <= $most
    order by pump_id, line
)

select * from clock_note
