-- C12, runs in peak hours: more of the energy falls in the tariff's peak than an even spread over the day gives.
-- grain: one site. inputs: site_fact, site_day, tariff_band. parameters: $ratio (against the share of hours), $days (of
--   the days that have a peak), $money_limit [currency per week]. columns: those of EVIDENCE that it fills.
-- Weekday is Monday to Friday of a plain week in the season of the newest day (tariff_band.sql); a holiday counts as its
--   weekday here, which can only make the finding rarer.
with bands as (
    select tariff, day_kind, sum(stop_min - start_min) filter (peak) / sum(stop_min - start_min) as peak_share,
        sum(price_per_kwh * (stop_min - start_min) order by start_min) filter (peak) / sum(stop_min - start_min) filter (peak)
            as peak_price,
        sum(price_per_kwh * (stop_min - start_min) order by start_min) filter (not peak) / sum(stop_min - start_min) filter (not peak)
            as other_price
    from tariff_band
    group by tariff, day_kind
),
peaked as (
    select distinct tariff
    from bands
    where peak_share > 0 and other_price is not null
),
compared as (
    select d.site_id, d.day_local, d.peak_kwh, d.peak_kwh / d.energy_kwh as share, b.peak_share,
        (d.peak_kwh - b.peak_share * d.energy_kwh) * (b.peak_price - b.other_price) as movable_cost
    from site_day as d
    join site_fact as f using (site_id)
    join bands as b on b.tariff = f.tariff and b.day_kind = case when isodow(d.day_local) <= 5
        then 'weekday' else 'weekend' end
    where b.peak_share > 0 and b.other_price is not null and d.energy_kwh > 0 and d.peak_kwh is not null
),
peak_days as (
    select b.tariff, sum(case when b.day_kind = 'weekday' then 5 else 2 end) as week_days
    from bands as b
    where b.peak_share > 0
    group by b.tariff
),
judged as (
    select f.site_id, f.component, count(c.day_local) as judged_days, count(*) filter (c.share > $ratio * c.peak_share)
        as days,
        min(c.day_local) filter (c.share > $ratio * c.peak_share) as first_day,
            max(c.day_local) filter (c.share > $ratio * c.peak_share) as last_day,
        avg(c.share order by c.day_local) filter (c.share > $ratio * c.peak_share) as measured,
        $ratio * avg(c.peak_share order by c.day_local) filter (c.share > $ratio * c.peak_share) as threshold,
            avg(c.movable_cost order by c.day_local) * any_value(w.week_days) as benefit_money_week,
        any_value(w.week_days) as week_days
    from site_fact as f
    join peaked as k on k.tariff = f.tariff
    join peak_days as w on w.tariff = f.tariff
    left join compared as c on c.site_id = f.site_id
    group by f.site_id, f.component
),
found as (
    select site_id, component, 'found' as verdict, null as needs, first_day, last_day, days, measured, threshold,
        'share of energy' as unit,
        benefit_money_week
    from judged
    where days >= least($days, week_days) and benefit_money_week > $money_limit
),
silent as (
    select site_id, component, 'cannot tell' as verdict, 'more believed days with energy by tariff band' as needs,
        null::date as first_day,
        null::date as last_day, null::bigint as days, null::double as measured, null::double as threshold,
            'share of energy' as unit,
        null::double as benefit_money_week
    from judged
    where judged_days < least($days, week_days)
    union all
    select site_id, component, 'cannot tell', 'a tariff in sites.csv', null, null, null, null, null, 'share of energy',
        null
    from site_fact
    where tariff is null or tariff = ''
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
