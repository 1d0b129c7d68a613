-- Every pump of the register on every local day of the calendar, whether it reported or not.
-- Grain: pump, local day. Inputs: pump; site; local_day (zone, day_local, start_utc, end_utc, day_min, iso_week).
-- Output: site_id, pump_id, zone, day_local, start_utc, end_utc, day_min [min], iso_week.
with source as (
    select pump.site_id, pump.pump_id, site.zone from pump join site using (site_id)
),

pump_day as (
    select source.site_id, source.pump_id, source.zone, day_local, start_utc, end_utc, day_min, iso_week
    from source join local_day using (zone)
    order by source.pump_id, day_local
)

select * from pump_day
