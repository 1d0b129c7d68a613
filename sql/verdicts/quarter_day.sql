-- Local days of the calendar and their length.
-- Grain: zone, local day. Inputs: local_day. Output: zone, day_local, day_min [min].
with quarter_day as (
    select zone, day_local, day_min from local_day
)

select * from quarter_day order by zone, day_local
