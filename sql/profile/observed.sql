-- Stretches cut at local midnight; the time between and around them is unknown and is there as rows of its own.
-- Grain: stretch of one pump within one local day. Inputs: steady; pump_day (site_id, pump_id, day_local, start_utc,
--   end_utc).
-- Output: site_id, pump_id, day_local, start_utc, end_utc, kind (run, off, unknown), speed_rpm, energy_kwh, from_power,
--   flow_m3h, aux_on, readings.
-- A stretch whose readings tell neither running nor standing is unknown time, with known energy where a counter gives
--   it. Energy of a cut stretch is shared by time.
with source as (
    select * from steady where end_utc > start_utc
),

cut as (
    select
        pump_day.site_id,
        source.pump_id,
        pump_day.day_local,
        greatest(source.start_utc, pump_day.start_utc) as start_utc,
        least(source.end_utc, pump_day.end_utc) as end_utc,
        case when source.is_on then 'run' when not source.is_on then 'off' else 'unknown' end as kind,
        case when source.is_on then source.speed_rpm when not source.is_on then 0 end as speed_rpm,
        source.energy_kwh * epoch(least(source.end_utc, pump_day.end_utc) - greatest(source.start_utc, pump_day.start_utc))
            / epoch(source.end_utc - source.start_utc) as energy_kwh,
        source.from_power,
        source.flow_m3h,
        source.aux_on,
        source.readings
    from source
    join pump_day
        on source.pump_id = pump_day.pump_id and source.start_utc < pump_day.end_utc and source.end_utc > pump_day.start_utc
),

bounded as (
    select pump_id, day_local, start_utc, end_utc from cut
    union all
    select pump_id, day_local, start_utc, start_utc from pump_day
    union all
    select pump_id, day_local, end_utc, end_utc from pump_day
),

followed as (
    select pump_id, day_local, end_utc as start_utc, lead(start_utc) over (partition by pump_id, day_local order by start_utc, end_utc) as end_utc
    from bounded
),

gap as (
    select pump_day.site_id, pump_id, day_local, followed.start_utc, followed.end_utc
    from followed join pump_day using (pump_id, day_local)
    where followed.end_utc > followed.start_utc
),

observed as (
    select * from cut
    union all
    select site_id, pump_id, day_local, start_utc, end_utc, 'unknown', null, null, null, null, null, 0 from gap
)

select * from observed order by pump_id, start_utc
