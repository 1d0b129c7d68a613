-- Days that are no saving, with those added whose two meters disagree.
-- Grain: one reason of one site's local day. Inputs: struck_day (site_id, day_local, reason), balance
--   (account_tables.BALANCE). Parameters: none.
-- Columns: site_id, day_local, reason (one sentence).
with unbalanced as (
    select
        site_id, day_local,
        string_agg(concat('pump ', pump_id, ': ', sentence), '; ' order by pump_id) as reason
    from balance
    where verdict = 'disqualifies'
    group by site_id, day_local
),
struck as (
    select site_id, day_local, reason from struck_day
    union all
    select site_id, day_local, reason from unbalanced
)
select * from struck order by site_id, day_local, reason
