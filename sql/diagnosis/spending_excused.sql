-- Days whose water and cost freeze protection or work on record explains: minutes explained once are not used again.
-- grain: one site's local day. inputs: span, visit. parameters: none. columns: site_id, day_local.
with spending_excused as (
    select site_id, day_local
    from span
    where cause = 'freeze protection'
    group by site_id, day_local
    having sum(duration_min order by start_utc) >= 30
    union
    select site_id, day_local
    from visit
    where work in ('agreed override', 'vacuum', 'backwash', 'commissioning', 'repair')
)
select * from spending_excused order by site_id, day_local
