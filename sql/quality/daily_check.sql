-- The daily accounts with the two columns that the suite daily needs beside them.
-- Grain: pump, local day. Inputs: daily. Output: the columns of daily; pump_day ('pump_id day_local'); mean_running_w,
--   mean power over the
--   running minutes [W], null where it did not run for an hour.
with source as (
    select * from daily
),

daily_check as (
    select
        *,
        pump_id || ' ' || day_local as pump_day,
        case when run_min >= 60 then energy_kwh_mid / run_min * 60000 end as mean_running_w
    from source
    order by pump_id, day_local
)

select * from daily_check
