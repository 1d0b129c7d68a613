-- What is in doubt about a pump's log, by quantity: its spans' own band, and verdicts that hold its numbers back.
-- Grain: pump and quantity. Inputs: unit_doubt, blocked_pump (pump_id, mode, quantity, doubt), pump (site_id, pump_id).
-- Output: site_id, pump_id, quantity, doubt (one sentence).
-- A verdict on identity or time makes every quantity of the log doubtful.
with source as (
    select
        pump.site_id,
        blocked_pump.pump_id,
        unnest(case
            when quantity in ('identity', 'time') then ['speed', 'power']
            when quantity like 'energy%' then ['power']
            else [quantity]
        end) as quantity,
        mode,
        doubt
    from blocked_pump join pump using (pump_id)
),

of_verdicts as (
    select site_id, pump_id, quantity, string_agg(doubt, ' ' order by mode, doubt) as doubt
    from source
    group by site_id, pump_id, quantity
),

doubted_pump as (
    select site_id, pump_id, quantity, doubt from unit_doubt
    union all
    select of_verdicts.* from of_verdicts
    anti join unit_doubt on of_verdicts.pump_id = unit_doubt.pump_id and of_verdicts.quantity = unit_doubt.quantity
)

select * from doubted_pump order by pump_id, quantity
