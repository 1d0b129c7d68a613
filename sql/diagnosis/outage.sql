-- Ends of stretches in which a pump was not seen, or stood although its plan asked for a speed: a power cut looks like
--   this, and a clock without a battery begins anew at its end. Where a pump that is seen again still stands, both the end
--   of not being seen and that of standing are ends.
--   A hole in the log of a pump that stood already is no end: it stopped without it.
-- grain: one end of a stretch. inputs: span, judged_day, local_day, pump_fact.
-- parameters: $outage_min, a shorter stretch is no outage [min].
-- columns: pump_id, day_local, end_min (wall clock [min since 00:00]), outage_min [min].
-- Clocks change in the first hours of a day: on a day of 23 or 25 h all ends after 03:00 are put right, earlier ones
--   may be an hour off.
with unseen as (
    select s.pump_id, s.day_local, s.start_utc, s.end_utc, s.duration_min, s.start_min + s.duration_min as end_min, s.kind
    from span as s
    join judged_day using (day_local)
    where s.kind = 'unknown' or (s.kind = 'off' and s.planned_speed_rpm > 0)
),
marked as (
    select *, coalesce(start_utc > lag(end_utc) over of_pump, true) as begins,
        coalesce(start_utc > lag(end_utc) over of_pump or kind <> lag(kind) over of_pump, true) as part_begins,
        coalesce(start_utc = lag(end_utc) over of_pump and lag(kind) over of_pump = 'off', false) as after_stop
    from unseen
    window of_pump as (partition by pump_id order by start_utc)
),
numbered as (
    select *, sum(begins::int) over of_pump as stretch, sum(part_begins::int) over of_pump as part
    from marked
    window of_pump as (partition by pump_id order by start_utc)
),
whole as (
    select pump_id, max(day_local) as day_local, arg_max(end_min, start_utc) as end_min,
        sum(duration_min order by start_utc) as outage_min
    from numbered
    group by pump_id, stretch
),
not_seen as (
    select pump_id, max(day_local) as day_local, arg_max(end_min, start_utc) as end_min,
        sum(duration_min order by start_utc) as outage_min
    from numbered
    where kind = 'unknown'
    group by pump_id, part
    having not bool_or(part_begins and after_stop)
),
stretches as (
    from whole
    union
    from not_seen
),
outage as (
    select s.pump_id, s.day_local,
        (s.end_min - case when s.end_min > 180 then l.day_min - 1440 else 0 end) % 1440 as end_min, s.outage_min
    from stretches as s
    join pump_fact as f using (pump_id)
    join local_day as l on l.zone = f.zone and l.day_local = s.day_local
    where s.outage_min >= $outage_min
    order by s.pump_id, s.day_local, end_min, s.outage_min
)
select * from outage
