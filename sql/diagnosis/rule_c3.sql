-- C3, a step is cut short by the next: it starts as planned and hands over to the next step's speed well before its
--   recorded stop.
-- grain: one pump. inputs: period_run, period_elsewhere, keyed_period, keyed_day.
-- parameters: $cut_least_min [min], $spread_min [min] (of the moment, from day to day), $seen_share (of the step that is
--   at its own speed or the next one's), $next_share (of the next step that runs as planned), $days, $edge_min [min]
--   (left out at either end by period_run). columns: those of EVIDENCE that it fills.
-- A record whose periods overlap is refused by the register, so the overlap cannot be read from it; it shows in what
--   ran: the next step, keyed in to start earlier than the record says, ends this one.
with window_run as (
    select site_id, pump_id, day_local, period, window_start_utc, any_value(window_end_utc) as window_end_utc,
        any_value(window_min) as window_min,
        coalesce(sum(duration_min order by start_utc) filter (state = 'own'), 0) as own_min,
        coalesce(sum(duration_min order by start_utc) filter (state = 'next'), 0) as next_min,
        min(start_utc) filter (state = 'own') as own_from, max(end_utc) filter (state = 'own') as own_to,
        min(start_utc) filter (state = 'next') as next_from, max(end_utc) filter (state = 'next') as next_to
    from period_run
    group by site_id, pump_id, day_local, period, window_start_utc
),
own_part as (
    select *, max(window_start_utc) over (partition by pump_id, day_local, period) as last_start_utc
    from window_run
),
share as (
    select pump_id, day_local, period,
        sum(own_min order by window_start_utc) / sum(window_min order by window_start_utc) as kept_share
    from own_part
    group by pump_id, day_local, period
),
cut_day as (
    select p.*, epoch(p.next_from - p.window_start_utc) / 60 as held_min,
        epoch(p.window_end_utc - p.next_from) / 60 + $edge_min
            -- a step cut before midnight loses what it has left after it, too
            + case when k.stop_min <= k.start_min and p.window_start_utc = p.last_start_utc then k.stop_min else 0 end as cut_min
    from own_part as p
    join keyed_period as k using (pump_id, period)
    join share as n on n.pump_id = p.pump_id and n.day_local = p.day_local and n.period = k.next_period
    left join period_elsewhere as o on o.pump_id = p.pump_id and o.day_local = p.day_local and o.period = p.period
    where p.own_min > 0 and p.own_from <= p.window_start_utc + interval 1 minute
        and p.own_to <= p.next_from + interval 1 minute and p.next_to >= p.window_end_utc - interval 1 minute
        and p.own_min + p.next_min >= $seen_share * p.window_min
        and epoch(p.window_end_utc - p.next_from) / 60 + $edge_min >= $cut_least_min
        and n.kept_share >= $next_share and coalesce(o.elsewhere_min, 0) <= $edge_min
),
steady as (
    select *, median(held_min) over (partition by pump_id, period) as usual_min
    from cut_day
),
counted as (
    select site_id, pump_id, period, count(distinct day_local) as days, min(day_local) as first_day,
        max(day_local) as last_day, median(cut_min) as measured
    from steady
    where abs(held_min - usual_min) <= $spread_min
    group by site_id, pump_id, period
),
compared as (
    select pump_id, count(*) as all_days
    from keyed_day
    group by pump_id
),
evidence as (
    select c.site_id, c.pump_id as component, case when c.days >= $days then 'found' else 'cannot tell' end as verdict,
        case when c.days < $days
            then format('more valid days: period {} was cut short on each day that tells ({} so far)', c.period, c.days)
        end as needs, c.first_day, c.last_day, c.days, c.measured,
        $cut_least_min::double as threshold, 'min cut' as unit,
        format('Period {} ({:.0f} rpm) is recorded to stop at {:02d}:{:02d}; period {} ({:.0f} rpm) takes over before.',
            c.period, k.speed_rpm, k.stop_min // 60, k.stop_min % 60, k.next_period, k.next_speed_rpm) as extra
    from counted as c
    join keyed_period as k using (pump_id, period)
    join compared as a using (pump_id)
    where c.days >= least($days, a.all_days)
    qualify row_number() over (partition by c.pump_id order by c.measured desc, c.period) = 1
)
select * from evidence order by site_id, component
