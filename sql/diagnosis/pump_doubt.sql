-- Data verdicts against pumps, as accounting takes them: one row a pump.
-- grain: one pump. inputs: unit_doubt. parameters: none.
-- columns: pump_id, doubt (sentences).
with pump_doubt as (
    select pump_id, string_agg(doubt, ' ' order by quantity) as doubt
    from unit_doubt
    group by pump_id
    order by pump_id
)
select * from pump_doubt
