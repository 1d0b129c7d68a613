-- Site days that are no saving because a pump did not run when its plan asked it to.
-- grain: one site's local day. inputs: idle_day. parameters: none.
-- columns: site_id, day_local, reason (one sentence).
with struck_day as (
    select site_id, day_local,
        format('pump {} did not run in its planned hours', string_agg(pump_id, ' and ' order by pump_id)) as reason
    from idle_day
    group by site_id, day_local
    order by site_id, day_local
)
select * from struck_day
