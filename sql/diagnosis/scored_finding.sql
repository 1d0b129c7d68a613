-- Findings with the score that orders them: value of the fix a week, times how likely it is true, by the minutes it
--   takes. One that comes and goes counts for less.
-- grain: one finding. inputs: unranked_finding, rule_value (rule_id, risk_cost_week, ordering, right_outcomes, outcomes:
--   how often people found the rule right, and how often they looked). parameters: $price_per_kwh (assumed where no
--   tariff prices the benefit) [currency/kWh], $drive_min (the site's share of the drive) [min], $coming_share (of the
--   score of one that comes and goes), $prior_outcomes (outcomes that the starting probability is worth), $quiet_least
--   (outcomes before a rule may fall quiet), $quiet_share (share right below which it does), $even (probability below which
--   a finding is unlikely).
-- columns: those of unranked_finding, the probability as outcomes have moved it; place (0 own, 1 explained, 2 cannot
--   tell); pinned (0 safety, 1 other), quiet (bool), unlikely (bool: more likely wrong than right), ordering (order of
--   explanation), score [currency per week and minute].
with weighed as (
    select f.* replace (
            ($prior_outcomes * f.probability + v.right_outcomes) / ($prior_outcomes + v.outcomes) as probability
        ),
        case when f.verdict <> 'found' then 2 when f.explained_by <> '' then 1 else 0 end as place,
        case when f.severity = 'safety' then 0 else 1 end as pinned,
        f.severity <> 'safety' and v.outcomes >= $quiet_least and v.right_outcomes < $quiet_share * v.outcomes as quiet,
        coalesce(f.probability < $even, false) as unlikely, v.ordering, v.risk_cost_week
    from unranked_finding as f
    join rule_value as v using (rule_id)
),
scored_finding as (
    select * exclude (risk_cost_week),
        probability * (coalesce(benefit_money_week, benefit_kwh_week * $price_per_kwh, 0) + risk_cost_week)
            / (work_min + $drive_min) * case when comes_and_goes then $coming_share else 1 end as score
    from weighed
)
select * from scored_finding
