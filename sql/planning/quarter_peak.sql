-- Quarter hours of the clock that lie in a band marked as peak on any plain day of the season.
-- grain: one tariff and quarter. inputs: tariff_band. parameters: none. columns: tariff, quarter (0..95).
with quarters as (
    select unnest(range(96)) as quarter
),
quarter_peak as (
    select distinct b.tariff, q.quarter
    from tariff_band as b
    join quarters as q on q.quarter * 15 >= b.start_min and q.quarter * 15 < b.stop_min
    where b.peak
    order by b.tariff, q.quarter
)
select * from quarter_peak
