-- Whether the rows of an export stand in the order of their stamps, told in one walk without sorting.
-- Grain: the export. Inputs: typed_row, in file order.
-- Output: back, rows stamped before the row above them; back_within, those whose row above is the same pump's; turns,
--   rows whose row above is another pump's; pumps, how many there are.
-- No row back, or none within a pump whose rows stand together, means that no pump's clock steps back.
with source as (
    select pump_id, stamp from typed_row where stamp is not null and pump_id is not null
),

walked as (
    select
        pump_id,
        stamp < lag(stamp) over () as steps_back,
        pump_id <> lag(pump_id) over () as other_pump
    from source
),

clock_order as (
    select
        count(*) filter (steps_back) as back,
        count(*) filter (steps_back and not other_pump) as back_within,
        count(*) filter (other_pump) as turns,
        count(distinct pump_id) as pumps
    from walked
)

select * from clock_order
