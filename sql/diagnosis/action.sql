-- One action a site: its first own finding. Safety first, then what the fix is worth by the time it takes.
-- grain: one site with a finding of its own. inputs: scored_finding (with rank), site. parameters: none. columns: those
--   of tables.ACTIONS.
with headline as (
    select *
    from scored_finding
    where place = 0
    qualify row_number() over (partition by site_id order by rank) = 1
),
others as (
    select f.site_id, string_agg(f.name, '; ' order by f.rank) as also_seen
    from (
        select site_id, name, min(rank) as rank
        from scored_finding
        where verdict = 'found'
        group by site_id, name
    ) as f
    join headline as h on h.site_id = f.site_id and h.name <> f.name
    group by f.site_id
),
action as (
    select row_number() over (order by h.pinned, h.score desc, h.site_id) as rank, h.site_id, s.site_name, s.route,
        h.rule_id, h.severity,
        h.instruction as action, h.sentence as why, coalesce(o.also_seen, '') as also_seen, h.benefit_kwh_week,
            h.benefit_money_week, h.probability,
        h.work_min, h.first_day, 'open' as state
    from headline as h
    join site as s using (site_id)
    left join others as o using (site_id)
)
select * from action order by rank
