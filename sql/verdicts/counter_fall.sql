-- Steps in which a counter started again, was reset, or showed what cannot be.
-- Grain: pump, counter, such a step. Inputs: counter_step; counter_rule; pump; site (zone); pump_source (pump_id,
--   source); local_day.
-- Output: source, pump_id, counter, kind (rollover, reset, returns: a fall that the counter comes back from,
--   backward: a fall where the log stands in another order than time), from_utc, to_utc, day_local, from_value,
--   to_value, rise, resolution, modulus [kWh or h].
with source as (
    select
        *,
        max(to_value) filter (where kind = 'impossible') over (
            partition by pump_id, counter order by to_utc rows between 1 following and unbounded following
        ) as comes_back_to
    from counter_step
),

named as (
    select
        * replace (
            case
                when kind <> 'reset' then kind
                when backward then 'backward'
                when comes_back_to >= from_value then 'returns'
                else kind
            end as kind
        )
    from source
),

counter_fall as (
    select
        pump_source.source,
        named.pump_id,
        named.counter,
        named.kind,
        named.from_utc,
        named.to_utc,
        local_day.day_local,
        named.from_value,
        named.to_value,
        named.rise,
        counter_rule.resolution,
        counter_rule.modulus
    from named
    join counter_rule using (pump_id, counter)
    join pump using (pump_id)
    join site using (site_id)
    join pump_source using (pump_id)
    join local_day
        on site.zone = local_day.zone and named.to_utc >= local_day.start_utc and named.to_utc < local_day.end_utc
    where named.kind in ('rollover', 'reset', 'returns', 'backward')
)

select * from counter_fall order by pump_id, counter, to_utc
