-- Doubts of one mode that nobody has refused, as evidence: a row a pump, or a row for a whole source.
-- grain: one pump, or one source. inputs: verdict, pump, pump_source, judged_day.
-- parameters: $mode (identifier such as B3). columns: those of EVIDENCE that it fills; for a whole source site_id is empty
--   and component the source.
-- A doubt that was last seen before the week, and holds no number back, is no longer news. Days are a range: what a log
--   says of its time or unit holds until someone changes it.
with week as (
    select min(day_local) as first_day, max(day_local) as last_day
    from judged_day
    where in_week
),
of_source as (
    select s.source, count(*) as pumps, count(distinct p.site_id) as sites
    from pump_source as s
    join pump as p using (pump_id)
    group by s.source
),
standing as (
    select coalesce(p.site_id, '') as site_id, case when v.pump_id = '' then v.source else v.pump_id end as component,
        v.quantity, v.state, v.sureness, v.first_day, v.last_day,
        v.pump_id = '' as whole,
        coalesce(s.pumps, 0) as pumps, coalesce(s.sites, 0) as sites,
        v.sentence || case when v.evidence = '' then '' else format(' Evidence: {}.', rtrim(v.evidence, '.')) end as said,
        format('pumpledger verdict FLEET --{{}} {} --by NAME', v.verdict_id) as command
    from verdict as v
    cross join week as w
    left join pump as p using (pump_id)
    left join of_source as s on s.source = v.source
    where v.mode = $mode and v.state <> 'refused' and (v.blocks or coalesce(v.last_day >= w.first_day, true))
),
worded as (
    select *,
        case when whole
            then format(' It is a matter of the whole source and touches {} {} at {} {}.', pumps,
                case when pumps = 1 then 'pump' else 'pumps' end, sites, case when sites = 1 then 'site' else 'sites' end)
            else '' end as reach,
        case state
            when 'applied' then format(' It is dealt with by itself; if the readings are right, say so: {}.',
                format(command, 'refuse'))
            when 'confirmed' then format(' It was confirmed and is still seen: the correction does not cure it. To take '
                || 'the readings as they are: {}.', format(command, 'refuse'))
            else format(' To correct it: {}; if the readings are right: {}.', format(command, 'confirm'),
                format(command, 'refuse'))
        end as decide
    from standing
),
evidence as (
    select site_id, component, 'found' as verdict,
        case when bool_and(state = 'applied') then 'note' end as severity,
        min(first_day) as first_day, max(last_day) as last_day,
        case when whole then any_value(pumps)::double else max(sureness) end as measured,
        case when whole then 'pumps' else 'share of the evidence' end as unit,
        string_agg(said || reach || decide, ' ' order by quantity, said) as extra
    from worded
    group by site_id, component, whole
)
select * from evidence order by site_id, component
