-- Readings of an export by what its clock says of them.
-- Grain: clock_state. Inputs: judged_row. Output: clock_state; rows.
with source as (
    select clock_state from judged_row where fate = 'readings'
),

clock_states as (
    select clock_state, count(*) as rows from source group by clock_state order by clock_state
)

select * from clock_states
