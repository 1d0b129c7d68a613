-- Days of the last eight weeks on which every pump of a site is believed: days that can show or clear a finding.
-- grain: one site's local day. inputs: past_daily, pump_fact. parameters: none.
-- columns: site_id, day_local.
with pumps as (
    select site_id, count(*) as pumps
    from pump_fact
    group by site_id
),
clear_day as (
    select d.site_id, d.day_local
    from past_daily as d
    join pumps as p using (site_id)
    where d.believed
    group by d.site_id, d.day_local, p.pumps
    having count(*) = p.pumps
    order by d.site_id, d.day_local
)
select * from clear_day
