-- Codes of sites that an export names in place of the site's one pump: when another pump takes its place, the export
--   is read again.
-- Grain: site. Inputs: typed_row, as written; site_pump (site_id, pump_id), the sites with one pump. Output: site_id.
with source as (
    select typed_row.pump_id as site_id from typed_row semi join site_pump on typed_row.pump_id = site_pump.site_id
),

sites_seen as (
    select distinct site_id from source order by site_id
)

select * from sites_seen
