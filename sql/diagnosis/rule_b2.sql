-- B2, the same rows exported twice.
-- grain: one site and export. inputs: refused_count, export, reading (pump_id, day_local, export_id), pump, judged_day.
--   parameters: $rows. columns: those of EVIDENCE that it fills.
-- A file with the content of another one is not read again: its rows of the week are those of the one that was.
-- An export all of whose rows are repeats holds no reading and so no dates: the judged days stand in for them.
with copied as (
    select r.pump_id, e.file, e.export_id, count(*) as rows, min(r.day_local) as first_day, max(r.day_local) as last_day
    from export as e
    join reading as r using (export_id)
    join judged_day as j on j.day_local = r.day_local and j.in_week
    where e.status = 'repeated'
    group by r.pump_id, e.file, e.export_id
),
repeated as (
    select p.site_id, c.file, c.export_id, sum(c.rows) as rows
    from refused_count as c
    join pump as p using (pump_id)
    where c.fate = 'duplicates'
    group by p.site_id, c.file, c.export_id
),
judged as (
    select min(day_local) as first_day, max(day_local) as last_day
    from judged_day
),
dated as (
    select r.site_id, r.file as component, r.rows, coalesce(e.first_utc::date, j.first_day) as first_day,
        coalesce(e.last_utc::date, j.last_day) as last_day
    from repeated as r
    left join (select export_id, min(first_utc) as first_utc, max(last_utc) as last_utc from export group by export_id)
        as e using (export_id)
    cross join judged as j
    union all
    select p.site_id, c.file, c.rows, c.first_day, c.last_day
    from copied as c
    join pump as p using (pump_id)
),
evidence as (
    select d.site_id, d.component, 'found' as verdict, greatest(d.first_day, j.first_day) as first_day,
        least(d.last_day, j.last_day) as last_day,
        d.rows::double as measured, $rows::double as threshold, 'rows' as unit
    from dated as d
    cross join judged as j
    where d.rows >= $rows and d.first_day <= j.last_day and d.last_day >= j.first_day
)
select * from evidence order by site_id, component
