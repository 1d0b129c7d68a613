-- Local days on which a pump turned for a while at far less power than its speed takes: dry, or air in its strainer.
-- Grain: one pump and local day.
-- Inputs: span (tables.SPANS), past_level (account_tables.LEVELS), speed_grid (tables.SPEED_GRID), pump, visit.
-- Parameters: $dry_share of the expected power, from $least_dry_rpm [rev/min] on; $deep_share of it, at any speed;
--   $least_dry_min, shortest stretch that counts [min], and $again_min where only the load is small; $start_min, further
--   time that a stretch which begins with the pump's start is granted where no priming is on record [min]; $least_level_days, fewest days that make the pump's own
--   expected power; $powered_w, above what a drive draws that turns nothing [W]; $load_share of the load, where what the
--   pump draws without load is known, and $least_load_w, smallest load that is judged by it [W]; $again_share, power from
--   the start on over that later in the same run at the same speed; $again_min, so long after priming it must have
--   lasted, and so long the later power [min]; $again_level, share of the expected power that the later one
--   comes to, and the reverse of what it may pass it by;
--   $alike_share, least over greatest watts that a day's speeds lack, from which they lack alike.
-- Columns: site_id; pump_id; day_local; dry_min [min], of these powered_min above $powered_w [min]; deep_min, of the
--   powered minutes those at or below $deep_share [min]; least_share, power over expected power of the powered minutes,
--   time-weighted mean of the deepest stretch; after_start (bool: some stretch began with a start);
--   found_again (bool: in some stretch power rose by itself to what the speed takes).
-- Only where power was logged, and priming is left out: a pump that primes is part full of air.
-- Expected is the pump's own power at that speed, upper quartile of its days since it was last put in or repaired, so that
-- dry days do not lower it; else the curve fitted to its readings, but not to paper, and not across such work.
-- Where the zero of the meter moved, or a lamp hangs on its circuit, rest moved by the same watts: what the pump's highest
-- day of rest shows above the rest before or after a stretch is taken off what is expected of it.
-- Watts that all speeds of a day lack alike are friction, a device or the zero as well: the water's go with the cube of speed.
-- At low speed losses hide what the water takes. Where two own speeds lie apart they say what is drawn without load, the
-- constant of W = c0 + c1 (n / 1000)^3 by least squares on relative residuals, and the rest is the load.
-- A slow pump without water may draw more than either limit. Where its power then jumps within the run to what the speed
-- takes, nothing but the water came: a closed valve does not open by itself, and what is cold draws more, not less.
with renewal as (
    select distinct pump.pump_id, visit.day_local
    from visit
    join pump on pump.site_id = visit.site_id and coalesce(nullif(visit.pump_id, ''), pump.pump_id) = pump.pump_id
    where visit.work in ('commissioning', 'repair')
),
level as (
    select l.pump_id, l.speed_rpm, l.power_w, r.day_local as since_day
    from past_level as l
    asof left join renewal as r on l.pump_id = r.pump_id and l.day_local >= r.day_local
),
own as (
    select pump_id, since_day, speed_rpm, quantile_cont(power_w, 0.75) as power_w
    from level
    group by pump_id, since_day, speed_rpm
    having count(*) >= $least_level_days
),
weighted as (
    select *, (speed_rpm / 1000) ** 3 as cube, 1 / power_w ** 2 as weight from own where power_w > 0
),
summed as (
    select
        pump_id, since_day, sum(weight order by speed_rpm) as w, sum(weight * cube order by speed_rpm) as wx,
        sum(weight * cube ** 2 order by speed_rpm) as wxx, sum(weight * power_w order by speed_rpm) as wp,
        sum(weight * cube * power_w order by speed_rpm) as wxp
    from weighted
    group by pump_id, since_day
    having max(speed_rpm) >= 1.15 * min(speed_rpm)  -- its cube is 1.5: nearer speeds cannot part the two
),
unloaded as (
    select
        pump_id, since_day,
        greatest((wp - (w * wxp - wx * wp) / (w * wxx - wx ** 2) * wx) / w, 0) as idle_w
    from summed
),
rest_of_day as (
    select pump_id, day_local, arg_max(power_w, duration_min) as rest_w
    from span
    where kind = 'off' and power_w is not null and not coalesce(aux_on, false)
    group by pump_id, day_local
),
highest_rest as (
    select pump_id, max(rest_w) as rest_w from rest_of_day group by pump_id
),
sequenced as (
    select
        site_id, pump_id, day_local, start_utc, end_utc, duration_min, kind, cause, speed_rpm, power_w,
        cast(round(speed_rpm / 25) * 25 as bigint) as grid_rpm, coalesce(aux_on, false) as aux_on,
        lag(kind) over of_pump as kind_before, lag(kind) over of_pump = 'off' as starts,
        coalesce(kind <> lag(kind) over of_pump or start_utc <> lag(end_utc) over of_pump, true) as begins,
        kind = 'run' and cause <> 'priming' and power_w is not null and speed_rpm > 0 as judged,
        least(
            last_value(if(kind = 'off', power_w, null) ignore nulls) over (of_pump rows unbounded preceding),
            first_value(if(kind = 'off', power_w, null) ignore nulls)
                over (of_pump rows between current row and unbounded following)
        ) as rest_w
    from span
    window of_pump as (partition by pump_id order by start_utc)
),
own_power as (
    select s.*, sum(s.begins::int) over (partition by s.pump_id order by s.start_utc) as run, case
        when own.power_w is not null then own.power_w
        when r.day_local is null and grid.power_source = 'fitted to readings' then grid.power_w_mid
    end as expected_w, if(own.power_w is null, null, u.idle_w) as idle_w
    from sequenced as s
    asof left join renewal as r on s.pump_id = r.pump_id and s.day_local >= r.day_local
    left join own on own.pump_id = s.pump_id and own.since_day is not distinct from r.day_local
        and own.speed_rpm = s.grid_rpm
    left join unloaded as u on u.pump_id = s.pump_id and u.since_day is not distinct from r.day_local
    left join speed_grid as grid on grid.pump_id = s.pump_id
        and grid.speed_rpm = s.grid_rpm
),
rested as (
    select o.* replace (nullif(greatest(o.expected_w - greatest(coalesce(h.rest_w - o.rest_w, 0), 0), 0), 0) as expected_w,
        greatest(o.idle_w - greatest(coalesce(h.rest_w - o.rest_w, 0), 0), 0) as idle_w)
    from own_power as o
    left join highest_rest as h using (pump_id)
),
lack as (
    select pump_id, day_local, grid_rpm,
        sum((expected_w - power_w) * duration_min order by start_utc) / sum(duration_min order by start_utc) as lack_w
    from rested
    where judged and expected_w is not null
    group by pump_id, day_local, grid_rpm
    having sum(duration_min) >= $least_dry_min
),
alike as (
    select pump_id, day_local, min(lack_w) as lack_w
    from lack
    group by pump_id, day_local
    having max(grid_rpm) >= 1.15 * min(grid_rpm)  -- as of unloaded
        and min(lack_w) > 0 and min(lack_w) >= $alike_share * max(lack_w)
),
expected as (
    select r.* replace (nullif(greatest(r.expected_w - coalesce(a.lack_w, 0), 0), 0) as expected_w,
        greatest(r.idle_w - coalesce(a.lack_w, 0), 0) as idle_w)
    from rested as r
    left join alike as a using (pump_id, day_local)
),
ran_on as (
    select
        *,
        arg_min(kind_before, start_utc) over of_run = 'off' as from_standstill,
        min(start_utc) filter (judged) over of_run as primed_utc,
        coalesce(max(power_w / expected_w) filter (judged) over before_it, 0) as most_share_before,
        max(power_w) filter (
            judged and duration_min >= $again_min and power_w between $again_level * expected_w and expected_w / $again_level
        ) over later_so as later_w
    from expected
    window
        of_run as (partition by pump_id, run),
        before_it as (partition by pump_id, run order by start_utc rows between unbounded preceding and 1 preceding),
        later_so as (
            partition by pump_id, run, grid_rpm, aux_on order by start_utc
            rows between 1 following and unbounded following
        )
),
come_back as (
    select
        *,
        coalesce(judged and from_standstill and most_share_before < $again_level and power_w <= $again_share * later_w
            and power_w <= $again_share * expected_w
            and end_utc >= primed_utc + to_seconds(60 * $again_min), false) as found_again
    from ran_on
),
marked as (
    select
        *,
        coalesce(found_again or judged and (power_w <= $deep_share * expected_w
            or (power_w <= $dry_share * expected_w and speed_rpm >= $least_dry_rpm)), false) as plainly,
        plainly or coalesce(judged and power_w - idle_w <= $load_share * (expected_w - idle_w)
            and expected_w - idle_w >= $least_load_w, false) as dry
    from come_back
),
numbered as (
    select
        *,
        -- spans of one dry stretch share a number, and a stretch ends with its day
        sum((not dry)::int) over (partition by pump_id order by start_utc) as stretch
    from marked
),
stretch as (
    select
        n.site_id, n.pump_id, n.day_local,
        sum(n.duration_min order by n.start_utc) as dry_min,
        coalesce(sum(n.duration_min order by n.start_utc) filter (n.power_w > $powered_w), 0) as powered_min,
        coalesce(
            sum(n.duration_min order by n.start_utc)
                filter (n.power_w > $powered_w and n.power_w <= $deep_share * n.expected_w), 0
        ) as deep_min,
        sum(n.power_w / n.expected_w * n.duration_min order by n.start_utc) filter (n.power_w > $powered_w)
            / sum(n.duration_min order by n.start_utc) filter (n.power_w > $powered_w) as share,
        coalesce(bool_or(n.starts), false) as after_start, bool_or(n.found_again) as found_again
    from numbered as n
    join pump using (pump_id)
    where n.dry
    group by n.site_id, n.pump_id, n.day_local, n.stretch
    having sum(n.duration_min order by n.start_utc) >= if(bool_or(n.plainly), $least_dry_min, $again_min)
        + case when coalesce(bool_or(n.starts), false) and coalesce(any_value(pump.priming_min), 0) = 0
            then $start_min else 0 end
),
dry_day as (
    select
        site_id, pump_id, day_local, sum(dry_min order by dry_min) as dry_min,
        sum(powered_min order by powered_min) as powered_min, sum(deep_min order by deep_min) as deep_min,
        min(share) as least_share, bool_or(after_start or found_again) as after_start,
        bool_or(found_again) as found_again
    from stretch
    group by site_id, pump_id, day_local
    order by site_id, pump_id, day_local
)
select * from dry_day
