-- Another device on a pump's meter: watts that step up and down while the speed stays.
-- Grain: one pump with enough such steps. Inputs: pump_quarter (pump_id, day_local, start_utc, speed_rpm, power_w);
--   reading (pump_id, day_local, aux_on).
-- Parameters: $step_w, $step_share, least step [W, share of the power without it]; $same_rpm, jitter of a held speed
--   [rev/min]; $cycles, least steps up or down; $days with them; $plain_share, least share of the time at that speed
--   and day without the device; $alone_w, least power without it [W]: with less the pump itself came and went.
-- Output: pump_id, cycles (steps up, or down, the greater), days, step_w (median height) [W], first_day, last_day.
-- A quarter hour counts where the one before and the one after it have its speed. The power without the device is the
--   least at that speed on that day, so a slow loss of power is no step. Short dips, as when a pump draws air, leave the
--   greater part of the time above the least: then it is not told, and the rules about water look.
-- Days on which the log says that the auxiliary load was on are left out: its steps are expected.
with load_day as (
    select pump_id, day_local from reading where aux_on group by pump_id, day_local
),

beside as (
    select
        *,
        lag(speed_rpm) over walk as speed_before_rpm,
        lead(speed_rpm) over walk as speed_after_rpm,
        lag(start_utc) over walk as before_utc,
        lead(start_utc) over walk as after_utc
    from pump_quarter
    anti join load_day on pump_quarter.pump_id = load_day.pump_id and pump_quarter.day_local = load_day.day_local
    where speed_rpm is not null and power_w is not null
    window walk as (partition by pump_quarter.pump_id, pump_quarter.day_local order by start_utc)
),

steady as (
    select pump_id, day_local, start_utc, power_w, round(speed_rpm / 50) as level
    from beside
    where abs(speed_rpm - speed_before_rpm) <= $same_rpm and abs(speed_rpm - speed_after_rpm) <= $same_rpm
        and start_utc - before_utc = interval 15 minutes and after_utc - start_utc = interval 15 minutes
),

above as (
    select
        *,
        power_w - min(power_w) over (partition by pump_id, day_local, level) as above_w,
        min(power_w) over (partition by pump_id, day_local, level) as alone_w,
        greatest($step_w, $step_share * min(power_w) over (partition by pump_id, day_local, level)) as least_w
    from steady
),

told as (
    select
        *,
        above_w >= least_w as loaded,
        avg((above_w < least_w / 2)::int) over (partition by pump_id, day_local, level) as plain
    from above
    where alone_w >= $alone_w and (above_w >= least_w or above_w < least_w / 2)
),

stepped as (
    select
        *,
        loaded and not lag(loaded) over run and start_utc - lag(start_utc) over run <= interval 30 minutes as up,
        not loaded and lag(loaded) over run and start_utc - lag(start_utc) over run <= interval 30 minutes as down
    from told
    where plain >= $plain_share
    window run as (partition by pump_id, day_local, level order by start_utc)
),

counted as (
    select
        pump_id,
        greatest(count(*) filter (up), count(*) filter (down)) as cycles,
        count(distinct day_local) filter (up or down) as days,
        median(above_w) filter (loaded) as step_w,
        min(day_local) filter (up or down) as first_day,
        max(day_local) filter (up or down) as last_day
    from stepped
    group by pump_id
),

other_load as (
    select * from counted where cycles >= $cycles and days >= $days order by pump_id
)

select * from other_load
