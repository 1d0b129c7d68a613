-- The last clock change of each zone up to the end of the week, as far back as the table past_day and $look_back_days
--   reach.
-- grain: one zone with a change. inputs: past_day (columns of local_day), judged_day. parameters: $look_back_days.
-- columns: zone, change_day (local day of 23 or 25 h), unmoved_shift_min (how late a clock that was not moved runs from
--   then on [min]).
with last_day as (
    select max(day_local) as last_day
    from judged_day
),
changes as (
    select l.zone, l.day_local as change_day, 1440 - l.day_min as unmoved_shift_min
    from past_day as l
    join last_day as e on l.day_local <= e.last_day and l.day_local > e.last_day - $look_back_days
    where l.day_min <> 1440
),
clock_change as (
    select zone, max(change_day) as change_day, arg_max(unmoved_shift_min, change_day)::bigint as unmoved_shift_min
    from changes
    group by zone
    order by zone
)
select * from clock_change
