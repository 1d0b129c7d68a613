-- C15, priming too slow: at the plan's speed the power stays low for minutes after priming has ended, then rises.
-- grain: one pump. inputs: pump_start, pump_fact, pump, reading (pump_id, time_utc, power_w).
-- parameters: $late_min of low power [min], $low_share of the power that the same stretch settles at, $settle_min, by when
--   it settles where all is well [min], $watch_min, how long it is watched [min], $starts (of the last 5 that were seen
--   well), $fine_s, the coarsest log that can show it [s], $ask_below_rpm, a slower priming on record is worth asking about
--   [rev/min]. columns: those of EVIDENCE that it fills.
-- A part of the pump that is full of air draws little. The power is held against its own later level at the same speed and
--   the same state of the auxiliary load, so unit and filter do not matter; the first half minute is the change of speed.
-- A start counts where the log lacks at most one reading before the power should have settled, and has three in the last
--   minutes that are watched, as many as $settle_min, by which the level is known. A log coarser than a minute must show low
--   power later than $late_min; it may miss the priming itself, which then is taken to have lasted as long as is on record.
with watched as (
    select s.site_id, s.pump_id, s.day_local, s.in_week, s.start_utc, s.sample_s, s.held_until_utc,
        case when s.priming_min > 0 then s.primed_utc
            else greatest(s.primed_utc, s.start_utc + to_seconds(60 * p.priming_min)) end as primed_utc,
        least(s.held_until_utc, primed_utc + to_seconds(60 * $watch_min)) as until_utc
    from pump_start as s
    join pump as p using (pump_id)
    where (s.priming_min > 0 or (s.sample_s > 60 and p.priming_min > 0)) and coalesce(s.sample_s, 60) between 1 and $fine_s
),
long_enough as (
    select *
    from watched
    where held_until_utc >= primed_utc + to_seconds(60 * ($settle_min + 5))
),
hour_of_start as (
    select *, unnest(generate_series(date_trunc('hour', primed_utc), until_utc, interval 1 hour)) as hour_utc
    from long_enough
),
sample as (
    select h.pump_id, h.start_utc, h.sample_s, epoch(r.time_utc - h.primed_utc) / 60 as minute, r.power_w
    from hour_of_start as h
    join reading as r on r.pump_id = h.pump_id and date_trunc('hour', r.time_utc) = h.hour_utc
    where r.power_w is not null and r.time_utc >= h.primed_utc + interval 30 second and r.time_utc < h.until_utc
),
ended as (
    select *, max(minute) over (partition by pump_id, start_utc) as last_min
    from sample
),
settled as (
    select pump_id, start_utc, median(power_w) as settled_w
    from ended
    where minute >= greatest($settle_min, last_min - $settle_min)
    group by pump_id, start_utc
    having count(*) >= 3 and median(power_w) > 0
),
risen as (
    select s.pump_id, s.start_utc, coalesce(any_value(s.sample_s), 60) as look_s,
        min(s.minute) filter (s.power_w >= $low_share * w.settled_w) as rise_min,
        max(s.minute) filter (s.power_w < $low_share * w.settled_w) as low_until_min,
        count(*) filter (s.minute < $settle_min) as readings
    from sample as s
    join settled as w using (pump_id, start_utc)
    group by s.pump_id, s.start_utc
    having readings >= greatest(60 * $settle_min / look_s - 2, 2)
),
latest as (
    select w.*, r.rise_min,
        r.rise_min > $late_min and (r.look_s <= 60 or coalesce(r.low_until_min > $late_min, false)) as late,
        row_number() over (partition by w.pump_id order by w.start_utc desc) as age
    from long_enough as w
    join risen as r using (pump_id, start_utc)
),
counted as (
    select site_id, pump_id, count(*) as seen, count(*) filter (late) as late_starts,
        count(distinct day_local) filter (late) as days, min(day_local) filter (late) as first_day,
        max(day_local) filter (late) as last_day, median(rise_min) filter (late) as rise_min, bool_or(late and in_week) as still_so
    from latest
    where age <= 5
    group by site_id, pump_id
),
found as (
    select site_id, pump_id as component, 'found' as verdict, null as needs, first_day, last_day, days,
        rise_min as measured, $late_min::double as threshold, 'min' as unit,
        format('{:d} of the last {:d} starts', late_starts, seen) as extra
    from counted
    where late_starts >= $starts and still_so
),
silent as (
    select f.site_id, f.pump_id as component, 'cannot tell' as verdict,
        format('power logged each few minutes: the priming on record runs at {:.0f} rpm', any_value(p.priming_speed_rpm)) as needs,
        null::date as first_day, null::date as last_day, null::bigint as days, null::double as measured,
        null::double as threshold, 'min' as unit, null as extra
    from pump_fact as f
    join pump as p using (pump_id)
    join pump_start as s on s.pump_id = f.pump_id and s.in_week and s.reason = 'plan period'
    anti join counted as c on c.pump_id = f.pump_id
    where p.priming_min > 0 and p.priming_speed_rpm < $ask_below_rpm
    group by f.site_id, f.pump_id
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
