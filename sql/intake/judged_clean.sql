-- Clean readings in the form of judged rows: all of them are readings.
-- Grain: one reading. Inputs: clean_row (columns of readings). Parameters: none. Output: the columns of judged_row.
with source as (
    select * from clean_row
),

judged as (
    select
        *, 'readings' as fate, null::varchar as rule, null::varchar as reason, null::varchar as raw, 'once' as clock_state
    from source
)

select * from judged
