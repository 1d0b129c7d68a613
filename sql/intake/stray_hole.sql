-- Blocks of rows whose clock may have been lost: those in whose place no other row of the pump stands.
-- Grain: block. Inputs: stray_block (pump_id, out_nth, back_nth, from_stamp, to_stamp): numbers of the first row of the
--   block and of the first after it, stamps of the rows before and after; ordered_row.
-- Parameters: $tolerance_s, how far a stamp may lie off the interval [s].
-- Output: pump_id, out_nth, back_nth. Where other rows stand there, the rows are only in another order.
with source as (
    select * from stray_block
),

filled as (
    select distinct source.pump_id, source.out_nth
    from source
    join ordered_row
        on source.pump_id = ordered_row.pump_id
        and ordered_row.stamp > source.from_stamp + to_seconds($tolerance_s)
        and ordered_row.stamp < source.to_stamp - to_seconds($tolerance_s)
),

stray_hole as (
    select source.pump_id, source.out_nth, source.back_nth
    from source
    anti join filled on source.pump_id = filled.pump_id and source.out_nth = filled.out_nth
    order by source.pump_id, source.out_nth
)

select * from stray_hole
