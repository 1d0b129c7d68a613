-- C2, only runs at night: most litres pass between 22:00 and 06:00 although something that works by day hangs on the
--   pump.
-- grain: one pump with a chlorinator or heater on record. inputs: keyed_day, span, speed_grid, pump_fact, visit, plan,
--   tariff_band, clock_match, judged_day.
-- parameters: $night_share (of the litres), $days (of the newest valid days), $cheaper_share (night against day price:
--   then the night is meant), $near_rpm (speeds this close are one) [rev/min]. columns: those of EVIDENCE that it fills.
-- An 'agreed override' on record since the plan was keyed in is an agreement. A note that speaks of the night is not
--   one, but enough not to accuse. Freeze protection runs at night by its nature and is left out.
-- A load that rests all week may be out of use, or kept from its hours by this very plan: it is in use if it ran on any
--   of the days looked at, the week before among them.
-- Without a source of flow the time at night is at least the share of litres where no hour of the day runs faster.
-- The night of a day of 23 or 25 hours: clock changes fall between midnight and 06:00 (common practice, no source).
with loaded as (
    select site_id, pump_id, aux_load, tariff
    from pump_fact
    where aux_load in ('heater', 'chlorinator') and has_plan
),
keyed_in as (
    select p.pump_id, max(p.valid_from) as valid_from
    from plan as p
    cross join (select max(day_local) as last_day from judged_day) as l
    where p.valid_from <= l.last_day
    group by p.pump_id
),
said as (
    select l.pump_id, coalesce(bool_or(v.work = 'agreed override'), false) as agreed,
        coalesce(bool_or(v.note ilike '%night%'), false) as noted
    from loaded as l
    join keyed_in as k using (pump_id)
    join visit as v on v.site_id = l.site_id and coalesce(nullif(v.pump_id, ''), l.pump_id) = l.pump_id
        and v.day_local >= k.valid_from - 1
    group by l.pump_id
),
band_hours as (
    select tariff, price_per_kwh, case day_kind when 'weekday' then 5 else 2 end as days_of_week,
        stop_min - start_min as band_min,
        greatest(least(stop_min, 360) - start_min, 0) + greatest(stop_min - greatest(start_min, 1320), 0) as night_min
    from tariff_band
    where day_kind in ('weekday', 'weekend')
),
cheap_night as (
    select tariff
    from band_hours
    group by tariff
    having sum(price_per_kwh * night_min * days_of_week) / nullif(sum(night_min * days_of_week), 0)
        <= $cheaper_share * sum(price_per_kwh * (band_min - night_min) * days_of_week)
            / nullif(sum((band_min - night_min) * days_of_week), 0)
),
running as (
    select l.site_id, l.pump_id, d.day_local, s.start_utc, s.duration_min,
        case when s.cause <> 'priming' then s.speed_rpm end as speed_rpm,
        coalesce(s.flow_m3h, g.flow_m3h_mid) as flow_m3h,
        greatest(least(s.start_min + s.duration_min, d.day_min - 1080) - s.start_min, 0)
            + greatest(s.start_min + s.duration_min - greatest(s.start_min, d.day_min - 120), 0) as night_min
    from loaded as l
    join keyed_day as d using (pump_id)
    join span as s on s.pump_id = d.pump_id and s.day_local = d.day_local
    left join speed_grid as g on g.pump_id = s.pump_id and g.speed_rpm = round(s.speed_rpm / 25) * 25
    where s.kind = 'run' and s.cause <> 'freeze protection'
),
by_day as (
    select site_id, pump_id, day_local,
        sum(night_min order by start_utc) / sum(duration_min order by start_utc) as time_share,
        case when count(flow_m3h) = count(*)
            then sum(flow_m3h * night_min order by start_utc)
                / nullif(sum(flow_m3h * duration_min order by start_utc), 0)
            when coalesce(max(speed_rpm) filter (night_min < duration_min)
                <= min(speed_rpm) filter (night_min > 0) + $near_rpm, false) then time_share end as litre_share
    from running
    group by site_id, pump_id, day_local
),
used as (
    select l.pump_id, count(s.aux_on) > 0 and not coalesce(bool_or(s.aux_on), false) as load_at_rest
    from loaded as l
    left join (span as s join judged_day using (day_local)) on s.pump_id = l.pump_id
    group by l.pump_id
),
counted as (
    select site_id, pump_id, count(*) filter (litre_share >= $night_share) as days,
        min(day_local) filter (litre_share >= $night_share) as first_day,
        max(day_local) filter (litre_share >= $night_share) as last_day,
        median(litre_share) filter (litre_share >= $night_share) as measured,
        count(*) filter (litre_share is null and time_share >= $night_share) as unknown_days
    from by_day
    group by site_id, pump_id
),
judged as (
    select c.*, l.aux_load, coalesce(s.noted, false) as noted,
        coalesce(m.verdict in ('ambiguous', 'whole source shifted'), false) as clock_open
    from counted as c
    join loaded as l using (pump_id)
    left join used as u using (pump_id)
    left join said as s using (pump_id)
    left join clock_match as m using (pump_id)
    anti join cheap_night as n on n.tariff = l.tariff
    where not coalesce(s.agreed, false) and not coalesce(u.load_at_rest, false)
        and c.days + c.unknown_days >= $days
),
evidence as (
    select site_id, pump_id as component,
        case when days < $days or noted or clock_open then 'cannot tell' else 'found' end as verdict,
        case when clock_open then 'a clock that is known to be right: most of the running falls into the night'
            when noted then 'the agreement as an ''agreed override'' in visits.csv: a note speaks of the night, '
                || 'and most of the water passes between 22:00 and 06:00'
            when days < $days then 'a source of flow: most of the running falls into the night' end as needs,
        first_day, last_day, days, measured, $night_share::double as threshold, 'share of water' as unit,
        case aux_load when 'heater' then 'Its heater then works in the coldest hours.'
            else 'Chlorine made at night is used up by the sun of the day.' end as extra
    from judged
)
select * from evidence order by site_id, component
