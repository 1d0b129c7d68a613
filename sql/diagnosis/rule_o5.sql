-- O5, looks like saving but is not: energy fell, and so did the service, or a pump did not do its work.
-- grain: one site. inputs: site_fact, site_day, past_daily, judged_day, pump_fact, excused_day, found_cause (EVIDENCE of
--   the rules about causes). parameters: $fall (share of the usual energy), $usual_days (believed days before the week),
--   $days (of the week), $short_share (of the required turnovers, as of O1). columns: those of EVIDENCE that it fills.
-- Usual is the median of the believed days before the week, as far as past_daily reaches: a fault that is older than
--   half of them has become usual, and is left to its own rule. The service fell where the high bound of the turnovers
--   is below the requirement and usually is not. Faults that make a broken pump look thrifty: D2, D3, D5, D8, D9.
with week as (
    select min(day_local) as first_day
    from judged_day
    where in_week
),
pumps as (
    select site_id, count(*) as pumps
    from pump_fact
    group by site_id
),
before_week as (
    select d.site_id, d.day_local,
        case when count(d.energy_kwh_mid) = count(*) then sum(d.energy_kwh_mid order by d.pump_id) end as energy_kwh,
        case when count(d.turnovers_hi) = count(*) then sum(d.turnovers_hi order by d.pump_id) end as turnovers_hi,
        count(*) as pumps
    from past_daily as d
    cross join week as w
    where d.believed and d.day_local < w.first_day
    group by d.site_id, d.day_local
),
usual as (
    select b.site_id, median(b.energy_kwh) as energy_kwh, median(b.turnovers_hi) as turnovers_hi,
        count(b.energy_kwh) as usual_days
    from before_week as b
    join pumps as p on p.site_id = b.site_id and p.pumps = b.pumps
    group by b.site_id
),
excused as (
    select distinct f.site_id, x.day_local
    from excused_day as x
    join pump_fact as f using (pump_id)
),
broken as (
    select site_id, bool_or(on_days is null) as all_along,
        string_split(string_agg(on_days, ' ' order by rule_id, component), ' ') as on_days
    from found_cause
    where rule_id in ('D2', 'D3', 'D5', 'D8', 'D9')
    group by site_id
),
fallen as (
    select f.site_id, f.component, f.required_turnovers, d.day_local, d.energy_kwh, u.energy_kwh as usual_kwh,
        d.turnovers_hi,
        d.turnovers_hi < (1 - $short_share) * f.required_turnovers and u.turnovers_hi >= f.required_turnovers as short,
        coalesce(b.all_along or list_contains(b.on_days, d.day_local::varchar), false) as broken
    from site_fact as f
    join site_day as d using (site_id)
    join usual as u using (site_id)
    left join broken as b using (site_id)
    anti join excused as x on x.site_id = d.site_id and x.day_local = d.day_local
    where u.usual_days >= $usual_days and d.energy_kwh < (1 - $fall) * u.energy_kwh
),
told as (
    select *, coalesce(short, false) or broken as no_saving
    from fallen
),
counted as (
    select site_id, component, any_value(required_turnovers) as required_turnovers, any_value(usual_kwh) as usual_kwh,
        count(*) as fallen_days, count(*) filter (no_saving) as days,
        count(*) filter (no_saving or short is not null) as told_days,
        string_agg(day_local::varchar, ' ' order by day_local) filter (no_saving) as on_days,
        min(day_local) filter (no_saving) as first_day, max(day_local) filter (no_saving) as last_day,
        median(energy_kwh) filter (no_saving) as measured,
        count(*) filter (short) as short_days, median(turnovers_hi) filter (short) as turnovers_hi
    from told
    group by site_id, component
),
evidence as (
    select site_id, component, case when days >= $days then 'found' else 'cannot tell' end as verdict,
        case when days < $days then 'flow and required turnovers, to tell whether the fall of energy is a saving' end
            as needs,
        first_day, last_day, on_days, days, measured, usual_kwh as threshold, 'kWh a day' as unit,
        case when short_days > 0
            then format('at most {:.2f} turnovers of {:.2f} required.', turnovers_hi, required_turnovers)
            else 'the pump did not do its work.' end as extra
    from counted
    where days >= $days or (fallen_days >= $days and told_days < $days)
)
select * from evidence order by site_id, component
