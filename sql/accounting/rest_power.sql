-- Wire power of a pump at rest, where its log says it.
-- Grain: one pump with logged power while it stood.
-- Inputs: span (tables.SPANS), pump_doubt (pump_id, doubt).
-- Parameters: $least_span_min shortest span that counts as steady [min].
-- Columns: pump_id; standby_w [W]: median over the spans at rest.
with rest_power as (
    select pump_id, median(power_w) as standby_w
    from span
    where kind = 'off'
        and power_w >= 0
        and duration_min >= $least_span_min
        and pump_id not in (select pump_id from pump_doubt)
    group by pump_id
    order by pump_id
)
select * from rest_power
