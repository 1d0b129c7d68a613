-- What another device draws on the same meter as the pump: power with the auxiliary load on against off, at one speed.
-- Grain: one pump whose power steps up with its auxiliary load. Inputs: span (tables.SPANS).
-- Parameters: $least_level_min, least time at a speed, on and off, for a comparison [min]; $least_days, fewest days
--   with the load on; $least_aux_w, $least_aux_share, a smaller step is none: the load's valve moves the pump's own power
--   [W, share of the power with the load off]; $same_aux_w, $same_aux_share, a draw that spreads no wider is constant.
-- Columns: pump_id; aux_w_lo, aux_w_mid, aux_w_hi draw, least and greatest of the days [W]; days; constant.
with told as (
    select
        pump_id, day_local, aux_on, power_w, duration_min, start_utc,
        cast(round(coalesce(speed_rpm, 0) / 25) * 25 as bigint) as speed_rpm
    from span
    where kind in ('run', 'off') and cause <> 'priming' and power_w >= 0 and aux_on is not null
),
without as (
    select
        pump_id, speed_rpm,
        sum(power_w * duration_min order by start_utc) / sum(duration_min order by start_utc) as power_w
    from told
    where not aux_on
    group by pump_id, speed_rpm
    having sum(duration_min order by start_utc) >= $least_level_min
),
with_load as (
    select
        pump_id, speed_rpm, day_local,
        sum(power_w * duration_min order by start_utc) / sum(duration_min order by start_utc) as power_w,
        sum(duration_min order by start_utc) as aux_min
    from told
    where aux_on
    group by pump_id, speed_rpm, day_local
    having sum(duration_min order by start_utc) >= $least_level_min
),
steps as (
    select
        with_load.pump_id, with_load.day_local, with_load.speed_rpm, with_load.aux_min,
        with_load.power_w - without.power_w as aux_w,
        without.power_w as power_w
    from with_load join without using (pump_id, speed_rpm)
),
spread as (
    select
        pump_id,
        min(aux_w) as aux_w_lo,
        sum(aux_w * aux_min order by day_local, speed_rpm) / sum(aux_min order by day_local, speed_rpm) as aux_w_mid,
        max(aux_w) as aux_w_hi,
        sum(power_w * aux_min order by day_local, speed_rpm) / sum(aux_min order by day_local, speed_rpm) as power_w,
        count(distinct day_local) as days
    from steps
    group by pump_id
),
aux_draw as (
    select
        pump_id, aux_w_lo, aux_w_mid, aux_w_hi, days,
        days >= $least_days and aux_w_hi - aux_w_lo <= greatest($same_aux_w, $same_aux_share * aux_w_mid) as constant
    from spread
    where aux_w_mid >= greatest($least_aux_w, $least_aux_share * power_w)
    order by pump_id
)
select * from aux_draw
