-- O4, saves less than was claimed: the savings at equal service against the promise on record.
-- grain: one site with a promise. inputs: site_fact, past_savings, judged_day. parameters: $counted_days (the newest that
--   count, of eight weeks). columns: those of EVIDENCE that it fills.
-- Only days that enter the savings are compared, by the high end of their interval; the ends add straight, because the
--   errors of one site's days are much the same. The promise is spread evenly over 365 days: where a pool is closed for
--   part of the year that asks too little, never too much.
with last_day as (
    select max(day_local) as last_day
    from judged_day
),
recent as (
    select s.site_id, s.day_local, s.equal_kwh_mid, s.equal_kwh_hi,
        row_number() over (partition by s.site_id order by s.day_local desc) as age
    from past_savings as s
    join last_day as e on s.day_local <= e.last_day
    where s.counted and s.equal_kwh_hi is not null
),
judged as (
    select f.site_id, f.component, f.promised_kwh_year / 365 as promised_kwh_day, count(r.day_local) as days,
        min(r.day_local) as first_day, max(r.day_local) as last_day,
        sum(r.equal_kwh_mid order by r.day_local) as realised_kwh, avg(r.equal_kwh_hi order by r.day_local) as high_kwh_day
    from site_fact as f
    left join recent as r on r.site_id = f.site_id and r.age <= $counted_days
    where f.promised_kwh_year is not null
    group by f.site_id, f.component, f.promised_kwh_year
),
evidence as (
    select site_id, component, case when days >= $counted_days then 'found' else 'cannot tell' end as verdict,
        case when days < $counted_days
            then format('{:.0f} days that count as savings in eight weeks ({:d} so far)', $counted_days::double, days) end
            as needs,
        first_day, last_day, days, high_kwh_day as measured, promised_kwh_day as threshold, 'kWh a day' as unit,
        format('In these days {:.0f} kWh were saved (likeliest value) of {:.0f} promised, the year''s promise spread '
            || 'evenly.', realised_kwh, days * promised_kwh_day) as extra
    from judged
    where days < $counted_days or high_kwh_day < promised_kwh_day
)
select * from evidence order by site_id, component
