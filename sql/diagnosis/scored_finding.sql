-- Findings with the score that orders them: value of the fix a week, times how likely it is true, by the minutes it
--   takes.
-- grain: one finding. inputs: unranked_finding, rule_value. parameters: $price_per_kwh (assumed where no tariff prices
--   the benefit) [currency/kWh], $drive_min (the site's share of the drive) [min].
-- columns: those of unranked_finding; place (0 own, 1 explained, 2 cannot tell); pinned (0 safety, 1 other), ordering
--   (order of explanation), score [currency per week and minute].
with scored_finding as (
    select f.*,
        case when f.verdict <> 'found' then 2 when f.explained_by <> '' then 1 else 0 end as place,
        case when f.severity = 'safety' then 0 else 1 end as pinned,
        v.ordering,
        f.probability * (coalesce(f.benefit_money_week, f.benefit_kwh_week * $price_per_kwh, 0) + v.risk_cost_week)
            / (f.work_min + $drive_min) as score
    from unranked_finding as f
    join rule_value as v using (rule_id)
)
select * from scored_finding
