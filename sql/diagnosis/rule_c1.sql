-- C1, a hole in the day: the plan pauses between two periods that should join, and the pump stands still in it.
-- grain: one pump. inputs: keyed_period, keyed_day, pump_fact, site_day, struck_day, tariff_band, span.
-- parameters: $sure_share (below), $gap_min, $gap_most_min [min] (a longer pause parts two runs that are meant), $continuous_min [min] (pause
--   of a public pool), $open_from_min, $open_to_min [min since 00:00] (hours in which a public pool is taken to be open),
--   $off_share (of the pause, really stood still), $peak_share (of the pause in the tariff's peak: then it is meant),
--   $days (of the week's believed days below the required turnovers). columns: those of EVIDENCE that it fills.
-- The rule asks whether a pause is wanted: for that it is enough that the required turnovers lie above the middle estimate
--   by $sure_share of its upper half; that the pool is short of water for certain is O1's to say.
-- The longest pause of a plan is its day's rest; of a public pool it counts where it lies in the open hours.
with pause as (
    select k.*, f.pool_class = 'public' as public, f.required_turnovers, f.tariff, (k.stop_min % 1440) as from_min,
        row_number() over (partition by k.pump_id order by k.gap_min desc, k.start_min) as place
    from keyed_period as k
    join pump_fact as f using (pump_id)
    where k.gap_min > 0
),
piece as (
    select pump_id, period, from_min, least(from_min + gap_min, 1440) as to_min
    from pause
    union all
    select pump_id, period, 0, from_min + gap_min - 1440
    from pause
    where from_min + gap_min > 1440
),
open_hours as (
    select pump_id, period,
        sum(greatest(least(to_min, $open_to_min) - greatest(from_min, $open_from_min), 0)) as open_min
    from piece
    group by pump_id, period
),
peak_hours as (
    select c.pump_id, c.period,
        sum(greatest(least(c.to_min, b.stop_min) - greatest(c.from_min, b.start_min), 0)) as peak_min
    from piece as c
    join pump_fact as f using (pump_id)
    join tariff_band as b on b.tariff = f.tariff and b.peak and b.day_kind = 'weekday'
    group by c.pump_id, c.period
),
seen as (
    select c.pump_id, c.period, d.day_local, s.kind,
        least(s.start_min + s.duration_min, c.to_min) - greatest(s.start_min, c.from_min) as seen_min
    from piece as c
    join keyed_day as d on d.pump_id = c.pump_id and d.day_min = 1440
    join span as s on s.pump_id = c.pump_id and s.day_local = d.day_local and s.start_min < c.to_min
        and s.start_min + s.duration_min > c.from_min
    where s.kind <> 'unknown'
),
watched as (
    select pump_id, period, count(distinct day_local) as off_days, min(day_local) as first_off,
        max(day_local) as last_off,
        coalesce(sum(seen_min order by day_local, seen_min) filter (kind = 'off'), 0)
            / sum(seen_min order by day_local, seen_min) as off_share
    from seen
    group by pump_id, period
),
judged_water as (
    select d.*, d.turnovers_mid + $sure_share * (d.turnovers_hi - d.turnovers_mid) < f.required_turnovers as short
    from site_day as d
    join (select distinct site_id, required_turnovers from pump_fact) as f using (site_id)
),
turned_over as (
    select d.site_id, count(d.turnovers_hi) as flow_days,
        count(*) filter (d.short) as short_days, min(d.day_local) filter (d.short) as first_short,
        max(d.day_local) filter (d.short) as last_short
    from judged_water as d
    anti join struck_day as k on k.site_id = d.site_id and k.day_local = d.day_local
    group by d.site_id
),
judged as (
    select p.*, w.off_days, w.first_off, w.last_off, coalesce(w.off_share, 0) >= $off_share as stands, t.flow_days,
        t.short_days, t.first_short, t.last_short,
        p.public and p.gap_min >= $continuous_min as continuous,
        p.place > 1 or o.open_min >= $continuous_min as in_open_hours,
        p.periods >= 2 and p.place > 1 and p.gap_min > $gap_min and p.gap_min <= $gap_most_min
            and coalesce(h.peak_min, 0) < $peak_share * p.gap_min as hole,
        format('Period {} stops at {:02d}:{:02d} and period {} starts at {:02d}:{:02d}.', p.period, p.stop_min // 60,
            p.stop_min % 60, p.next_period, p.next_start_min // 60, p.next_start_min % 60) as pause_text
    from pause as p
    join open_hours as o using (pump_id, period)
    left join peak_hours as h using (pump_id, period)
    left join watched as w using (pump_id, period)
    left join turned_over as t on t.site_id = p.site_id
),
worded as (
    select site_id, pump_id as component, gap_min::double as measured, 'min of pause' as unit, start_min,
        case
            when continuous and in_open_hours and stands then 'found'
            when continuous and not in_open_hours then 'cannot tell'
            when hole and stands and not public and required_turnovers is null then 'cannot tell'
            when hole and stands and coalesce(flow_days, 0) < $days and not public then 'cannot tell'
            when hole and stands and short_days >= $days then 'found'
        end as verdict,
        case when continuous then case when not in_open_hours
                then 'the hours in which this public pool is open: its plan pauses. ' || pause_text end
            when required_turnovers is null then 'the required turnovers in sites.csv. ' || pause_text
            when coalesce(flow_days, 0) < $days
                then 'the turnovers of more days, or a source of flow. ' || pause_text end as needs,
        case when public then 'this week' end as severity,
        case when continuous then first_off else first_short end as first_day,
        case when continuous then last_off else last_short end as last_day,
        case when continuous then off_days else short_days end as days,
        case when continuous then $continuous_min else $gap_min end::double as threshold,
        pause_text || case when continuous
            then ' Many codes ask a public pool to circulate all the time that it is open.'
            else ' By what is known of its flow the pool filters less than it has to.' end as extra
    from judged
),
evidence as (
    select site_id, component, verdict, case when verdict = 'cannot tell' then needs end as needs, severity,
        first_day, last_day, days, measured, threshold, unit, extra
    from worded
    where verdict is not null
    qualify row_number() over (partition by component order by verdict desc, measured desc, start_min) = 1
)
select * from evidence order by site_id, component
