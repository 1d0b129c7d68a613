-- Days on which a pump stood still, or drew no more than standby, through everything its plan asked for, with its
--   export alive.
-- grain: one pump's local day. inputs: span, plan_window, fleet_day, pump, site, visit, unit_doubt.
-- parameters: $observed_share (of the planned minutes), $running_most_min [min a day], $standby_w [W], $margin_w, so far
--   above its own rest a pump turns [W], $rest_w, rest where none is logged [W], $drawn_share (of the planned minutes),
--   $least_w, less beside a speed and not nothing is another unit [W].
-- $slow_rpm, up to which its own rest is asked [rev/min]: a small pump at its slowest draws less than the electronics of
--   another at rest. Its rest is that of its lowest day.
-- Where power rises and falls within a day beside a speed of nothing, and is up in the planned hours, it is the speed that
--   is not to be believed.
-- Power below nothing is a clamp the wrong way round, and as much as it says.
-- columns: site_id, pump_id, day_local, planned_min [min], observed_min [min, of the planned], running_min [min of the
--   whole day].
with rest_of_day as (
    select pump_id, day_local, median(power_w) as rest_w
    from span
    join fleet_day using (day_local)
    where kind = 'off' and power_w is not null
    group by pump_id, day_local
),
at_rest as (
    select pump_id, min(rest_w) as rest_w
    from rest_of_day
    group by pump_id
),
watched as (
    select s.site_id, s.pump_id, s.day_local, s.start_utc, s.end_utc, s.duration_min, s.kind <> 'unknown' as observed,
        s.kind = 'run' and not (
            coalesce(
                abs(s.power_w) <= least($standby_w, if(s.speed_rpm <= $slow_rpm, coalesce(r.rest_w, $rest_w) + $margin_w, null))
                and (s.power_w = 0 or abs(s.power_w) >= $least_w), false
            )
            and d.pump_id is null
        ) as running,
        s.kind = 'off' and d.pump_id is null
            and s.power_w > $standby_w
                + min(s.power_w) filter (s.kind = 'off') over (partition by s.pump_id, s.day_local) as draws
    from span as s
    join fleet_day using (day_local)
    join site on site.site_id = s.site_id and site.season = 'open'
    left join (select distinct pump_id from unit_doubt where quantity = 'power') as d on d.pump_id = s.pump_id
    left join at_rest as r on r.pump_id = s.pump_id
),
ran as (
    select site_id, pump_id, day_local, coalesce(sum(duration_min order by start_utc) filter (running), 0) as running_min
    from watched
    group by site_id, pump_id, day_local
),
planned as (
    select pump_id, day_local, sum(epoch(end_utc - start_utc) order by start_utc) / 60 as planned_min
    from plan_window
    where speed_rpm > 0
    group by pump_id, day_local
),
seen as (
    select w.pump_id, w.day_local,
        sum(epoch(least(w.end_utc, s.end_utc) - greatest(w.start_utc, s.start_utc)) order by s.start_utc) / 60 as observed_min,
        coalesce(sum(epoch(least(w.end_utc, s.end_utc) - greatest(w.start_utc, s.start_utc)) order by s.start_utc)
            filter (s.draws), 0) / 60 as drawn_min
    from plan_window as w
    join watched as s on s.pump_id = w.pump_id and s.day_local = w.day_local and s.start_utc < w.end_utc
        and s.end_utc > w.start_utc
    where w.speed_rpm > 0 and s.observed
    group by w.pump_id, w.day_local
),
closed_by_visit as (
    select c.site_id, c.day_local as first_day, min(o.day_local) as opened_day
    from visit as c
    left join visit as o on o.site_id = c.site_id and o.work = 'opening' and o.day_local >= c.day_local
    where c.work = 'closing'
    group by c.site_id, c.day_local
),
idle_day as (
    select r.site_id, r.pump_id, r.day_local, p.planned_min, s.observed_min, r.running_min
    from ran as r
    join planned as p using (pump_id, day_local)
    join seen as s using (pump_id, day_local)
    anti join closed_by_visit as c on c.site_id = r.site_id and r.day_local >= c.first_day
        and r.day_local < coalesce(c.opened_day, 'infinity'::date)
    where p.planned_min > $running_most_min and s.observed_min >= $observed_share * p.planned_min
        and r.running_min <= $running_most_min and s.drawn_min < $drawn_share * p.planned_min
    order by r.site_id, r.pump_id, r.day_local
)
select * from idle_day
