-- Days on which somebody was at the controller by the record.
-- grain: one pump and day. inputs: visit, pump. parameters: none. columns: pump_id, day_local.
with keying_visit as (
    select distinct p.pump_id, v.day_local
    from visit as v
    join pump as p on p.site_id = v.site_id and coalesce(nullif(v.pump_id, ''), p.pump_id) = p.pump_id
    where v.work in ('keying', 'commissioning', 'agreed override', 'repair', 'opening')
)
select * from keying_visit order by pump_id, day_local
