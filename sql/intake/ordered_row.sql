-- The rows of an export that can speak of its clock, each beside the one before it by that clock.
-- Grain: one row with a stamp of 2000 to 2099, a pump of the register and a value. Inputs: typed_row; pump_zone.
-- Parameters: none.
-- Output: pump_id; way, 1 or, for a pump whose rows stand in falling order, -1; nth, number of the row in the order of
--   the pump's clock (negative where it falls); line; stamp (as written); line_before, stamp_before and step_s [s] to
--   the row before, null for the first; said, hash of what the row says.
-- A row without any value is no evidence: a table laid over a grid of times has rows for hours that no logger saw.
with source as (
    select
        pump_id,
        line,
        stamp,
        hash(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, air_temperature_c, aux_text) as said
    from typed_row
    semi join pump_zone using (pump_id)
    where
        year(stamp) between 2000 and 2099
        and (
            coalesce(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, air_temperature_c) is not null
            or aux_text is not null
        )
),

beside as (
    select
        *,
        row_number() over file_order as place,
        lag(line) over file_order as line_above,
        lag(stamp) over file_order as stamp_above,
        lead(line) over file_order as line_below,
        lead(stamp) over file_order as stamp_below
    from source
    window file_order as (partition by pump_id order by line)
),

direction as (
    select pump_id, if(sum(sign(epoch(stamp) - epoch(stamp_above))) < 0, -1, 1) as way from beside group by pump_id
),

ordered_row as (
    select
        pump_id,
        way,
        way * place as nth,
        line,
        stamp,
        if(way = 1, line_above, line_below) as line_before,
        if(way = 1, stamp_above, stamp_below) as stamp_before,
        epoch(stamp) - epoch(if(way = 1, stamp_above, stamp_below)) as step_s,
        said
    from beside
    join direction using (pump_id)
)

select * from ordered_row
