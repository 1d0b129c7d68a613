-- D19, switched off by hand at night: most nights, at about the same hour, the pump stands or its log is silent inside
--   planned running.
-- grain: one pump. inputs: span, judged_day, local_day, pump_fact, pump, idle_day, excused_day, unit_doubt.
-- parameters: $dead_w (a speed reported with no more power stands) [W], $minutes (least stretch) [min], $nights (of the week), $spread_min (between the middle half of the
--   starts) [min], $exact_min and $exact_share (so many starts closer to the middle one are a
--   programme's, not a hand's) [min], $edge_min (this near an
--   edge of the plan it is the plan) [min], $hand_min (between the middle half of the starts, where the pump stands on
--   past the end of its plan) [min]. columns: those of EVIDENCE that it fills.
-- Starts are by the wall clock: on a day of 23 or 25 h all after 03:00 are put right, as ends of outages are.
-- A silent log counts only where the pump primes when it comes back: the supply was cut, not the export. Starts at the
--   same minute each night may be a programme that is not on record. A stop that lasts past the plan's end is one if it
--   comes at another minute each night: else the plan ends earlier than its record says.
with seen as (
    select s.site_id, s.pump_id, s.day_local, s.start_utc, s.end_utc, s.duration_min, s.cause,
        s.start_min - case when s.start_min > 180 then l.day_min - 1440 else 0 end as start_min,
        s.planned_speed_rpm, s.speed_rpm, j.in_week,
        case when s.kind = 'run' and s.power_w <= $dead_w and u.pump_id is null then 'off' else s.kind end as kind
    from span as s
    join judged_day as j using (day_local)
    join pump_fact as f on f.pump_id = s.pump_id
    join local_day as l on l.zone = f.zone and l.day_local = s.day_local
    left join unit_doubt as u on u.pump_id = s.pump_id and u.quantity = 'power'
),
beside as (
    select *,
        lag(kind) over of_pump as previous_kind, lag(end_utc) over of_pump as previous_end,
        lag(planned_speed_rpm) over of_pump as previous_planned_rpm, lag(duration_min) over of_pump as previous_min,
        lead(kind) over of_pump as next_kind, lead(cause) over of_pump as next_cause,
        lead(speed_rpm) over of_pump as next_rpm, lead(planned_speed_rpm) over of_pump as next_planned_rpm,
        lead(start_utc) over of_pump as next_start
    from seen
    window of_pump as (partition by pump_id order by start_utc)
),
not_running as (
    select *, coalesce(start_utc > lag(end_utc) over (partition by pump_id, kind order by start_utc), true) as begins
    from beside
    where kind in ('off', 'unknown')
),
numbered as (
    select *, sum(begins::int) over (partition by pump_id, kind order by start_utc) as stretch
    from not_running
),
stretches as (
    select site_id, pump_id, kind, stretch, bool_and(coalesce(planned_speed_rpm > 0, false)) as all_planned,
        coalesce(sum(duration_min order by start_utc) filter (planned_speed_rpm > 0), 0) as planned_min,
        arg_min(coalesce(planned_speed_rpm > 0, false), start_utc) as planned_first,
        sum(duration_min order by start_utc) as stretch_min, min(day_local) as first_day, max(day_local) as last_day,
        bool_or(in_week) as in_week, arg_min(start_min, start_utc) as start_min,
        min(start_utc) as start_utc,
        arg_min(coalesce(previous_kind = 'run' and previous_end = start_utc and previous_planned_rpm > 0
            and previous_min >= $edge_min, false), start_utc) as cut_inside,
        arg_max(coalesce(next_kind = 'run' and next_start = end_utc, false), start_utc) as comes_back,
        arg_max(next_planned_rpm, start_utc) as back_planned_rpm, arg_max(next_cause, start_utc) as back_cause,
        arg_max(next_rpm, start_utc) as back_rpm
    from numbered
    group by site_id, pump_id, kind, stretch
),
cuts as (
    select s.*, not (s.all_planned and s.comes_back and s.back_planned_rpm > 0) as past_end, case when s.start_min >= 720 then s.first_day else s.first_day - 1 end as night,
        case when s.start_min >= 720 then s.start_min else s.start_min + 1440 end as night_min,
        coalesce(s.back_cause = 'priming' or abs(s.back_rpm - p.priming_speed_rpm) <= 25, false) as primes
    from stretches as s
    join pump as p using (pump_id)
    anti join idle_day as i on i.pump_id = s.pump_id and i.day_local = s.first_day
    anti join excused_day as x on x.pump_id = s.pump_id and x.day_local = s.first_day
    where s.in_week and s.planned_first and s.cut_inside and s.planned_min >= $minutes and s.stretch_min <= 900
        and (s.all_planned and s.comes_back and s.back_planned_rpm > 0 or s.kind = 'off' and not s.all_planned)
        and (s.start_min >= 1080 or s.start_min < 240)
),
nights as (
    select *, abs(night_min - median(night_min) over (partition by pump_id)) < $exact_min as exact
    from cuts
    where kind = 'off' or primes
),
counted as (
    select site_id, pump_id, count(distinct night) as days, min(first_day) as first_day, max(last_day) as last_day,
        median(planned_min) as stretch_min, bool_or(past_end) as past_end, quantile_cont(night_min, 0.75) - quantile_cont(night_min, 0.25) as spread_min,
        max(night_min) - min(night_min) < $exact_min or avg(exact::int) >= $exact_share as by_plan,
        median(night_min) as night_min, bool_or(kind = 'unknown') as silent
    from nights
    group by site_id, pump_id
    having count(distinct night) >= $nights
),
evidence as (
    select site_id, pump_id as component, if(by_plan, 'cannot tell', 'found')
            as verdict,
        case when by_plan
            then 'the plan that is really keyed in: the pump stops each night at the same minute, as a programme does' end
                as needs,
        first_day, last_day, days, stretch_min / 60 as measured, $minutes / 60.0 as threshold, 'h' as unit,
        format('Usually from about {:02d}:{:02d} on.{}', (night_min::int // 60) % 24, night_min::int % 60,
            case when silent then ' Its log is silent meanwhile, and it primes when it comes back.' else '' end) as extra
    from counted
    where spread_min <= $spread_min and (not past_end or spread_min >= $hand_min)
)
select * from evidence order by site_id, component
