-- B13: readings that lie on a straight line between two others, as a logger draws it across a gap.
-- Grain: reading on a line; both ends of a line were true and are left out. Inputs: reading (columns of readings);
--   export_hold (export_id, gap_limit_s); reading_step, which says on which days it can be.
-- Parameters: $differences, fewest equal first differences; $change_share, least change along the line, as a share of
--   its greatest value; $tolerance, how far a value may lie off the line, as a share of one difference, where the values
--   are not rounded; $ramp_s, a line no longer than this may be a drive that starts [s].
-- Output: pump_id, time_utc, day_local, start_utc, end_utc (ends of the line), readings (on it).
-- A value is power, else speed, else flow. Where values are rounded, to the finest power of ten that the pump's readings
--   need, a line that rises at least five steps of it a reading may lie off by one step.
with candidate as (
    select distinct pump_id, unnest([day_local - 1, day_local, day_local + 1]) as day_local
    from reading_step
    where straight_n > 0
),

source as (
    select reading.pump_id, time_utc, reading.day_local, coalesce(power_w, speed_rpm, flow_m3h) as value
    from reading
    join candidate on reading.pump_id = candidate.pump_id and reading.day_local = candidate.day_local
),

resolution as (
    select
        pump_id,
        min(case
            when value = round(value, -1) then 10
            when value = round(value) then 1
            when value = round(value, 1) then 0.1
            when value = round(value, 2) then 0.01
            else 0
        end) as step
    from source
    where value is not null
    group by pump_id
),

windowed as (
    select
        *,
        list(value) over last_ones as points,
        list(epoch_ms(time_utc)) over last_ones as times_ms
    from source
    window last_ones as (partition by pump_id order by time_utc rows between $differences preceding and current row)
),

chord as (
    select
        pump_id,
        time_utc,
        day_local,
        value,
        points,
        times_ms,
        step,
        (points[-1] - points[1]) / $differences as difference,
        (times_ms[-1] - times_ms[1]) / $differences as difference_ms
    from windowed join resolution using (pump_id)
),

tested as (
    select
        pump_id,
        time_utc,
        day_local,
        value,
        coalesce(
            len(list_filter(points, lambda value: value is not null)) = $differences + 1
            and points[-1] <> points[1]
            and list_bool_and(list_transform(points, lambda value, place:
                abs(value - points[1] - (place - 1) * difference) <= if(
                    step > 0 and abs(difference) >= 5 * step, 1.001 * step, $tolerance * abs(difference) + 1e-9
                )))
            and list_bool_and(list_transform(times_ms, lambda value, place:
                abs(value - times_ms[1] - (place - 1) * difference_ms) <= 0.1 * difference_ms)),
            false
        ) as ends_line
    from chord
),

marked as (
    select
        pump_id,
        time_utc,
        day_local,
        value,
        bool_or(ends_line) over next_ones as on_line
    from tested
    window next_ones as (partition by pump_id order by time_utc rows between current row and $differences following)
),

numbered as (
    select
        *,
        sum((not on_line)::int) over (partition by pump_id order by time_utc rows unbounded preceding) as line
    from marked
),

measured as (
    select
        pump_id,
        time_utc,
        day_local,
        min(time_utc) over (partition by pump_id, line) as start_utc,
        max(time_utc) over (partition by pump_id, line) as end_utc,
        count(*) over (partition by pump_id, line) as readings,
        max(value) over (partition by pump_id, line) - min(value) over (partition by pump_id, line) as change,
        max(abs(value)) over (partition by pump_id, line) as greatest_value
    from numbered
    where on_line
),

straight_line as (
    select pump_id, time_utc, day_local, start_utc, end_utc, readings
    from measured
    where time_utc > start_utc
        and time_utc < end_utc
        and end_utc > start_utc + to_seconds($ramp_s)
        and change >= $change_share * greatest_value
    order by pump_id, time_utc
)

select * from straight_line
