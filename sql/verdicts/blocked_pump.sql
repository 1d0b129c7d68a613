-- Pumps whose numbers are held back until someone decides.
-- Grain: pump, verdict. Inputs: verdict (columns of verdicts); pump_source (pump_id, source).
-- Output: pump_id, verdict_id, mode, quantity, doubt (one sentence), remedy, first_day, last_day.
-- A verdict on a whole source holds back each of its pumps.
with source as (
    select * from verdict where blocks
),

of_pump as (
    select pump_id, verdict_id, mode, quantity, sentence as doubt, remedy, first_day, last_day
    from source
    where pump_id <> ''
),

of_source as (
    select pump_source.pump_id, verdict_id, mode, quantity, sentence, remedy, first_day, last_day
    from source join pump_source using (source)
    where source.pump_id = ''
),

blocked_pump as (
    select * from of_pump
    union all
    select * from of_source
)

select * from blocked_pump order by pump_id, mode, quantity
