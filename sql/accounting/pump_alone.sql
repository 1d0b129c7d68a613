-- Spans whose power is the pump's own: what its power curve may be fitted to.
-- Grain: one span, columns of tables.SPANS. Inputs: span (tables.SPANS), aux_draw (columns of aux_draw.sql).
-- Parameters: none. Left out: time with the auxiliary load on, where that draws on the same meter.
with alone as (
    select span.*
    from span
    where not (coalesce(span.aux_on, false) and span.pump_id in (select pump_id from aux_draw))
    order by span.pump_id, span.start_utc
)
select * from alone
