-- Rows whose code is a site's, under the code of that site's one pump; other codes stay as they are.
-- Grain: one data row of one export. Inputs: typed_row; site_pump (site_id, pump_id), the sites with one pump.
-- Output: the columns of typed_row.
with source as (
    select * from typed_row
),

pump_of_site as (
    select source.* replace (coalesce(site_pump.pump_id, source.pump_id) as pump_id)
    from source
    left join site_pump on source.pump_id = site_pump.site_id
    order by source.line
)

select * from pump_of_site
