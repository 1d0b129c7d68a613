-- B4, readings in the wrong unit.
-- grain: one pump and quantity in doubt. inputs: unit_doubt. parameters: none. columns: those of EVIDENCE that it
--   fills.
with doubted as (
    select site_id, pump_id as component, 'found' as verdict, first_day, last_day, days, measured, threshold, unit,
        doubt || coalesce(format(' The register leads one to expect a value {:.0f} times as great.', ratio), '')
            as extra
    from unit_doubt
),
-- A finding is keyed by its pump, so the two quantities of one pump stand in one row.
evidence as (
    select site_id, component, verdict, min(first_day) as first_day, max(last_day) as last_day, max(days) as days,
        arg_min(measured, unit) as measured, arg_min(threshold, unit) as threshold, min(unit) as unit,
        string_agg(extra, ' ' order by unit) as extra
    from doubted
    group by site_id, component, verdict
)
select * from evidence order by site_id, component
