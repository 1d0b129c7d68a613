-- Days the rules may look at: the review's days up to the end of the week.
-- grain: one local day. inputs: fleet_day. parameters: $week_end (last local day of the week).
-- columns: day_local, in_week (bool).
with judged_day as (
    select day_local, in_week
    from fleet_day
    where day_local <= $week_end
    order by day_local
)
select * from judged_day
