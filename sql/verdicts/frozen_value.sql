-- B12: power readings that stay the same to the last digit while the speed changes.
-- Grain: frozen reading; the first of a run was true and is left out. Inputs: reading (columns of readings);
--   export_hold (export_id, gap_limit_s); reading_step, which says on which days it can be.
-- Parameters: $samples, fewest equal readings; $speed_change_rpm, a greater step is a change [rev/min]; $standby_w, at or
--   below it a drive that tripped reads much the same all the time [W]; $either_side, fewest readings that are far from
--   the first and from the last speed of the run; $chance, that so many readings are equal, at or below $standby_w;
--   $rest_steps, fewest other steps there that tell it.
-- Output: pump_id, time_utc, day_local, power_w [W], start_utc (first reading of the run), samples (of the run).
-- A drive that tripped draws what it draws at rest, and a meter that lives shows that as it shows rest: its last digit moves
--   as often. Where it hardly ever moves at rest, nothing tells a frozen meter from such a drive.
-- A change of speed tells nothing where the meter is too coarse to show it: the cube law must move the power by two
--   steps of its resolution, the coarsest round number that all of the pump's readings are multiples of.
with candidate as (
    select distinct pump_id, unnest([day_local - 1, day_local, day_local + 1]) as day_local
    from reading_step
    where stuck_n > 0
),

source as (
    select reading.pump_id, time_utc, reading.day_local, speed_rpm, power_w, gap_limit_s
    from reading
    join candidate on reading.pump_id = candidate.pump_id and reading.day_local = candidate.day_local
    join export_hold using (export_id)
),

resolution as (
    select
        pump_id,
        case
            when bool_and(power_w % 100 = 0) then 100
            when bool_and(power_w % 50 = 0) then 50
            when bool_and(power_w % 20 = 0) then 20
            when bool_and(power_w % 10 = 0) then 10
            when bool_and(power_w % 5 = 0) then 5
            when bool_and(power_w % 1 = 0) then 1
            when bool_and(power_w = round(power_w, 1)) then 0.1
            when bool_and(power_w = round(power_w, 2)) then 0.01
            else 0
        end as step_w
    from source
    where power_w is not null
    group by pump_id
),

walked as (
    select
        *,
        power_w is distinct from lag(power_w) over along
            or time_utc > lag(time_utc) over along + to_seconds(lag(gap_limit_s) over along) as begins
    from source
    window along as (partition by pump_id order by time_utc)
),

numbered as (
    select *, sum(begins::int) over (partition by pump_id order by time_utc rows unbounded preceding) as run from walked
),

at_rest as (
    select pump_id, count(*) as steps, count(*) filter (not begins) as equal_steps
    from numbered
    where power_w > 0 and power_w <= $standby_w
    group by pump_id
),

held as (
    select
        pump_id,
        run,
        min(time_utc) as start_utc,
        count(*) as samples,
        max(power_w) as power_w,
        arg_min(speed_rpm, time_utc) as first_rpm,
        arg_max(speed_rpm, time_utc) as last_rpm
    from numbered
    where power_w > 0
    group by pump_id, run
    having count(*) >= $samples
),

ended as (
    select held.*
    from held
    left join at_rest using (pump_id)
    where held.power_w > $standby_w
        or (steps - samples >= $rest_steps
            and ((equal_steps - samples + 2.0) / (steps - samples + 3.0)) ** (samples - 1) < $chance)
),

compared as (
    select
        numbered.*,
        ended.start_utc,
        ended.samples,
        resolution.step_w,
        greatest(speed_rpm, first_rpm) as first_hi,
        least(speed_rpm, first_rpm) as first_lo,
        greatest(speed_rpm, last_rpm) as last_hi,
        least(speed_rpm, last_rpm) as last_lo
    from numbered
    join ended on ended.pump_id = numbered.pump_id and ended.run = numbered.run
    join resolution on resolution.pump_id = numbered.pump_id
),

told as (
    select
        *,
        count(*) filter (
            where first_hi - first_lo > $speed_change_rpm and power_w * (1 - (first_lo / first_hi) ^ 3) > 2 * step_w
        ) over (partition by pump_id, run) as far_from_first,
        count(*) filter (
            where last_hi - last_lo > $speed_change_rpm and power_w * (1 - (last_lo / last_hi) ^ 3) > 2 * step_w
        ) over (partition by pump_id, run) as far_from_last
    from compared
),

frozen_value as (
    select pump_id, time_utc, day_local, power_w, start_utc, samples
    from told
    where far_from_first >= $either_side and far_from_last >= $either_side and time_utc > start_utc
    order by pump_id, time_utc
)

select * from frozen_value
