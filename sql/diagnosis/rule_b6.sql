-- B6, the hour of a clock change misread: rows whose place around a change the export does not prove.
-- grain: one source. inputs: clock_warning (file, source, name, rows, first_utc, last_utc: what intake said of an
--   export's clock), past_day, judged_day, pump_source, pump, site. parameters: $rows. columns: those of EVIDENCE that it
--   fills.
-- A change is told in its own week, or in a later export of the judged days whose logger had not made it yet. Rows that
--   their order proves, and that are placed by it, are a note.
with changes as (
    select distinct s.source, d.day_local as change_day, j.in_week
    from past_day as d
    join judged_day as j using (day_local)
    join site on site.zone = d.zone
    join pump as p on p.site_id = site.site_id
    join pump_source as s using (pump_id)
    where d.day_min <> 1440
),
warned as (
    select w.source, w.file, w.name, w.rows, c.change_day
    from clock_warning as w
    join changes as c using (source)
    where w.last_utc::date >= c.change_day - 1
        and (c.in_week and w.first_utc::date <= c.change_day + 1
            or w.name = 'clock_set_late' and w.first_utc::date > c.change_day)
),
worded as (
    select source, change_day, name, sum(rows) as rows, count(distinct file) as files
    from warned
    group by source, change_day, name
),
counted as (
    select source, max(change_day) as change_day, sum(rows) as rows,
        bool_and(name in ('clock_set_late', 'clock_set_early')) as placed,
        string_agg(format('{:d} rows of {:d} {} {}', rows::bigint, files, case when files = 1 then 'file' else 'files' end,
            case name
                when 'repeated_hour' then 'lie in the hour that the clock repeats, and nothing tells which pass: they '
                    || 'are taken as the first'
                when 'clock_set_late' then 'run on by the old clock, and are placed by it'
                when 'clock_set_early' then 'run by the new clock too early, and are placed by it'
                when 'hour_does_not_exist' then 'carry a time that the clock skipped, and were set aside'
                else 'may or may not run by the old clock'
            end), '; ' order by name) as said
    from worded
    group by source
),
evidence as (
    select '' as site_id, source as component, 'found' as verdict, case when placed then 'note' end as severity,
        change_day as first_day, change_day as last_day, 1 as days, rows::double as measured, $rows::double as threshold,
        'rows' as unit, said || '.' as extra
    from counted
    where rows >= $rows
)
select * from evidence order by component
