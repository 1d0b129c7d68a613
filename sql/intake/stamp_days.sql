-- The days that stand in the stamps of an export, as written; a logger that lost its clock may add some far away.
-- Grain: day. Inputs: typed_row. Output: day.
with source as (
    select stamp from typed_row where year(stamp) between 2000 and 2099
),

stamp_days as (
    select distinct stamp::date as day from source order by day
)

select * from stamp_days
