-- Findings in the order a reader of one site needs them.
-- grain: one finding. inputs: scored_finding. parameters: none. columns: those of tables.FINDINGS.
with finding as (
    select * exclude (place, pinned, quiet, unlikely, ordering, score),
        row_number() over (partition by site_id order by place, pinned, unlikely, score desc, ordering, rule_id, component)
            as rank
    from scored_finding
)
select * from finding order by site_id, rank
