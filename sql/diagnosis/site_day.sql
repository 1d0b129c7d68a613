-- A site's believed days: sums over its pumps, only where every pump is believed.
-- grain: one site's local day of the week. inputs: daily, judged_day, pump_fact. parameters: none.
-- columns: site_id, day_local, turnovers_lo, turnovers_mid, turnovers_hi (null where a pump has no flow source), energy_kwh, cost
--   [currency], peak_kwh [kWh] (null where a pump has none).
with pumps as (
    select site_id, count(*) as pumps
    from pump_fact
    group by site_id
),
summed as (
    select d.site_id, d.day_local, count(*) as pumps,
        case when count(d.turnovers_lo) = count(*) then sum(d.turnovers_lo order by d.pump_id) end as turnovers_lo,
        case when count(d.turnovers_mid) = count(*) then sum(d.turnovers_mid order by d.pump_id) end as turnovers_mid,
        case when count(d.turnovers_hi) = count(*) then sum(d.turnovers_hi order by d.pump_id) end as turnovers_hi,
        case when count(d.energy_kwh_mid) = count(*) then sum(d.energy_kwh_mid order by d.pump_id) end as energy_kwh,
        case when count(d.cost) = count(*) then sum(d.cost order by d.pump_id) end as cost,
        case when count(d.peak_kwh) = count(*) then sum(d.peak_kwh order by d.pump_id) end as peak_kwh
    from daily as d
    join judged_day as j on j.day_local = d.day_local and j.in_week
    where d.believed
    group by d.site_id, d.day_local
),
site_day as (
    select s.site_id, s.day_local, s.turnovers_lo, s.turnovers_mid, s.turnovers_hi, s.energy_kwh, s.cost, s.peak_kwh
    from summed as s
    join pumps as p on p.site_id = s.site_id and p.pumps = s.pumps
    order by s.site_id, s.day_local
)
select * from site_day
