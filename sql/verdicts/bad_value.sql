-- Values that are to be taken as missing, because the logger did not measure them.
-- Grain: pump, instant, quantity. Inputs: frozen_value; straight_line; refused_verdict (mode, pump_id), what people said
--   is right; reading (columns of readings).
-- Parameters: $power_least_w, less than the offset of any meter [W]: a clamp sits backwards, and no energy is negative.
-- Output: pump_id, time_utc, quantity (power; of a reading that was drawn in, speed, power and flow).
with frozen as (
    select pump_id, time_utc, 'power' as quantity
    from frozen_value
    where pump_id not in (select pump_id from refused_verdict where mode = 'B12')
),

drawn as (
    select pump_id, time_utc, unnest(['speed', 'power', 'flow']) as quantity
    from straight_line
    where pump_id not in (select pump_id from refused_verdict where mode = 'B13')
),

negative as (
    select pump_id, time_utc, 'power' as quantity from reading where power_w < $power_least_w
),

bad_value as (
    select * from frozen
    union
    select * from drawn
    union
    select * from negative
)

select * from bad_value order by pump_id, time_utc, quantity
