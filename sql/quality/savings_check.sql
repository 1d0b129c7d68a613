-- The savings with the columns that the suite savings needs beside them.
-- Grain: site, local day. Inputs: savings. Output: the columns of savings; site_day ('site_id day_local');
--   uncounted_without_reason, yes or no.
with source as (
    select * from savings
),

savings_check as (
    select
        *,
        site_id || ' ' || day_local as site_day,
        if(not counted and coalesce(reason, '') = '', 'yes', 'no') as uncounted_without_reason
    from source
    order by site_id, day_local
)

select * from savings_check
