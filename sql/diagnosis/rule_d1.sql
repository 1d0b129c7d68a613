-- D1, keeps re-priming: short bursts at priming speed while the pump runs, or after a short stop that no plan asked for.
-- Grain: one pump. Inputs: span, plan_window, daily, judged_day, excused_day, pump.
-- Parameters: $near_rpm, so close to the priming speed is priming [rev/min]; $burst_most_min, longer is no burst [min];
--   $stop_most_min, a longer stop before it makes it a start [min]; $start_edge_min, so near a planned start it is that
--   start [min]; $bursts a day; $days of any $of_days valid days of the week, one after another.
-- Columns: those of EVIDENCE that it fills.
-- A burst after time that was not seen is left out, as is one that freeze protection or an override follows: these prime
-- as well. A burst after a stop may be the supply: a blip, and the pump primes as it comes back. Where too few came without
-- a stop, it cannot be told.
with sequenced as (
    select
        s.site_id, s.pump_id, s.day_local, s.start_utc, s.duration_min, s.kind, s.cause, s.speed_rpm,
        s.planned_speed_rpm, p.priming_speed_rpm,
        coalesce(
            s.kind = 'run' and abs(s.speed_rpm - p.priming_speed_rpm) <= $near_rpm
            and not coalesce(abs(s.speed_rpm - s.planned_speed_rpm) <= $near_rpm, false)
            and s.duration_min <= $burst_most_min, false
        ) as at_priming,
        lag(s.kind) over of_pump as previous_kind,
        lag(s.speed_rpm) over of_pump as previous_rpm,
        lag(s.duration_min) over of_pump as previous_min,
        lag(s.kind, 2) over of_pump as kind_before_stop,
        lead(s.kind) over of_pump as next_kind,
        lead(s.speed_rpm) over of_pump as next_rpm,
        lead(s.cause) over of_pump as next_cause,
        lead(s.cause, 2) over of_pump as second_cause
    from span as s
    join pump as p using (pump_id)
    window of_pump as (partition by s.pump_id order by s.start_utc)
),
begun as (
    select
        *,
        previous_kind = 'off' as after_stop,
        priming_speed_rpm is null as unnamed
    from sequenced
    where (at_priming and not coalesce(abs(previous_rpm - priming_speed_rpm) <= $near_rpm, false)
            and (previous_kind = 'run' or (previous_kind = 'off' and previous_min <= $stop_most_min and kind_before_stop = 'run'))
            and not (previous_kind = 'off' and coalesce(next_cause in ('freeze protection', 'override')
                or second_cause in ('freeze protection', 'override'), false)))
        -- no priming speed on record: the same shape, far faster than what stands on either side
        or (priming_speed_rpm is null and kind = 'run' and duration_min <= $burst_most_min and previous_kind = 'run'
            and next_kind = 'run' and speed_rpm >= greatest(previous_rpm, next_rpm) + 10 * $near_rpm
            and speed_rpm > coalesce(planned_speed_rpm, 0) + $near_rpm)
),
burst as (
    select b.*
    from begun as b
    asof left join plan_window as w on b.pump_id = w.pump_id
        and b.start_utc + to_seconds($start_edge_min * 60) >= w.start_utc
    where not (b.after_stop and coalesce(w.start_utc >= b.start_utc - to_seconds($start_edge_min * 60), false))
),
valid_day as (
    select d.site_id, d.pump_id, d.day_local
    from daily as d
    join judged_day as j on j.day_local = d.day_local and j.in_week
    anti join excused_day as e on e.pump_id = d.pump_id and e.day_local = d.day_local
    where d.valid
),
by_day as (
    select
        d.site_id, d.pump_id, d.day_local, count(b.start_utc) as bursts,
        count(b.start_utc) filter (b.after_stop) as after_stops, coalesce(any_value(b.unnamed), false) as unnamed
    from valid_day as d
    left join burst as b on b.pump_id = d.pump_id and b.day_local = d.day_local
    group by d.site_id, d.pump_id, d.day_local
),
placed as (
    select *, row_number() over (partition by pump_id order by day_local) as place from by_day
),
in_a_row as (
    select
        last.pump_id, last.place, count(*) filter (d.bursts >= $bursts) as many,
        count(*) filter (d.bursts - d.after_stops >= $bursts) as unstopped
    from placed as last
    join placed as d on d.pump_id = last.pump_id and d.place between last.place - $of_days + 1 and last.place
    group by last.pump_id, last.place
),
often as (
    select pump_id, max(unstopped) >= $days as unstopped
    from in_a_row
    group by pump_id
    having max(many) >= $days
),
counted as (
    select
        d.site_id, d.pump_id, any_value(o.unstopped) as unstopped,
        min(d.day_local) as first_day, max(d.day_local) as last_day, count(*) as days,
        max(d.bursts) as most_bursts, sum(d.bursts) as all_bursts, sum(d.after_stops) as all_stops,
        bool_or(d.unnamed) as unnamed
    from by_day as d
    join often as o using (pump_id)
    where d.bursts >= $bursts
    group by d.site_id, d.pump_id
),
evidence as (
    select
        site_id, pump_id as component, if(unnamed or not unstopped, 'cannot tell', 'found') as verdict,
        case
            when unnamed then format(
                'the priming speed and its length in pumps.csv: up to {} short runs a day at high speed, which may be priming',
                most_bursts
            )
            when not unstopped then format(
                'a look at the supply: it primed up to {} times a day, and {:.0f} of {:.0f} followed a stop of the pump, as after '
                || 'blips of the supply', most_bursts, all_stops::double, all_bursts::double
            )
        end as needs,
        first_day, last_day, days, most_bursts::double as measured, $bursts::double as threshold, 'a day' as unit,
        case
            when all_stops = 0 then 'None of them followed a stop that the log shows.'
            else format(
                '{:.0f} of {:.0f} followed a stop of the pump: blips of the supply look the same, so look at the supply too.',
                all_stops::double, all_bursts::double
            )
        end as extra
    from counted
)
select * from evidence order by site_id, component
