-- One action a site: its first own finding that asks for something and that no one has put off, mended or rejected.
--   Safety first, then what is likely before what is not, then what the fix is worth by the time it takes.
-- grain: one site with a finding of its own. inputs: scored_finding (with rank), site, action_state (site_id, rule_id,
--   component, state, note). parameters: $parked, states in which an action is no line of the list. columns: those of
--   followup_tables.ACTIONS but action_id.
with standing as (
    select f.*, coalesce(a.state, 'open') as state, coalesce(a.note, '') as note
    from scored_finding as f
    left join action_state as a on f.site_id = a.site_id and f.rule_id = a.rule_id and f.component = a.component
    where coalesce(a.state, 'open') not in (select unnest($parked))
),
headline as (
    select *
    from standing
    where place = 0 and instruction <> ''
    qualify row_number() over (partition by site_id order by rank) = 1
),
others as (
    select f.site_id, string_agg(f.name, '; ' order by f.rank) as also_seen
    from (
        select site_id, name, min(rank) as rank
        from standing
        where verdict = 'found'
        group by site_id, name
    ) as f
    join headline as h on h.site_id = f.site_id and h.name <> f.name
    group by f.site_id
),
action as (
    select row_number() over (order by h.pinned, h.quiet, h.unlikely, h.score desc, h.site_id) as rank, h.site_id, s.site_name, s.route,
        h.rule_id, h.component, case when h.quiet then 'note' else h.severity end as severity,
        h.instruction as action, h.sentence as why, coalesce(o.also_seen, '') as also_seen, h.benefit_kwh_week,
            h.benefit_money_week, h.probability,
        h.work_min, h.standing_since as first_day, h.state,
        concat_ws('; ', nullif(h.note, ''), case when h.comes_and_goes then 'it comes and goes' end,
            case when h.quiet then 'its rule was often wrong on site and is kept out of the list' end) as note
    from headline as h
    join site as s using (site_id)
    left join others as o using (site_id)
)
select * from action order by rank
