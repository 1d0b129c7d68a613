-- Data verdicts against pumps, as accounting takes them: one row a pump.
-- grain: one pump. inputs: doubted_pump. parameters: none.
-- columns: pump_id, doubt (sentences).
with said as (
    select pump_id, doubt, min(quantity) as quantity
    from doubted_pump
    group by pump_id, doubt
),
pump_doubt as (
    select pump_id, string_agg(doubt, ' ' order by quantity, doubt) as doubt
    from said
    group by pump_id
    order by pump_id
)
select * from pump_doubt
