-- What the unseen minutes of a day may hold at most: 'all at plan', and at the highest speed seen where no plan is in
-- force.
-- Grain: one pump and local day of the calendar.
-- Inputs: pump, site (zone), local_day (zone, day_local, start_utc, end_utc, day_min), span_estimate, highest,
--   plan_window (pump_id, day_local, speed_rpm, start_utc, end_utc), speed_grid (tables.SPEED_GRID).
-- Parameters: $standby_w highest standby draw [W].
-- Columns: pump_id; day_local; day_min; observed_min; unknown_min [min]; longest_gap_min [min];
--   volume_m3_hi most water in the unknown minutes [m3], null no flow source;
--   energy_kwh_hi most energy in them [kWh], null no source.
-- Unseen is every minute of the day that no span of kind run or off covers, whether or not a span of kind unknown
-- stands there. The least is 'all off': nothing. Planned speeds outside the known ones are bounded by the nearest known
-- value: flow with speed, power with its cube, both assumptions that only widen.
with days as (
    select pump.pump_id, local_day.day_local, local_day.start_utc, local_day.end_utc, local_day.day_min
    from pump
    join site using (site_id)
    join local_day on local_day.zone = site.zone
),
seen as (
    select
        pump_id, day_local, start_utc, end_utc, duration_min,
        lag(end_utc) over (partition by pump_id, day_local order by start_utc) as before_utc
    from span_estimate
),
observed as (
    select
        days.pump_id, days.day_local, days.day_min,
        coalesce(sum(seen.duration_min order by seen.start_utc), 0) as observed_min,
        greatest(
            coalesce(
                max(epoch(seen.start_utc - coalesce(seen.before_utc, days.start_utc))),
                epoch(days.end_utc - days.start_utc)
            ),
            coalesce(max(epoch(days.end_utc)) - max(epoch(seen.end_utc)), 0)
        ) / 60 as longest_gap_min
    from days
    left join seen using (pump_id, day_local)
    group by days.pump_id, days.day_local, days.day_min, days.start_utc, days.end_utc
),
unseen as (
    select *, greatest(round(day_min - observed_min, 4), 0) as unknown_min from observed
),
window_seen as (
    select
        plan_window.pump_id, plan_window.day_local, plan_window.start_utc, plan_window.speed_rpm,
        round(
            epoch(any_value(plan_window.end_utc) - plan_window.start_utc) / 60
                -- least() and greatest() pass over nulls, so a window that nothing overlaps is kept out.
                - coalesce(sum(epoch(
                    least(seen.end_utc, plan_window.end_utc) - greatest(seen.start_utc, plan_window.start_utc)
                ) order by seen.start_utc) filter (seen.start_utc is not null), 0) / 60,
            4
        ) as unknown_min
    from plan_window
    left join seen
        on seen.pump_id = plan_window.pump_id
        and seen.day_local = plan_window.day_local
        and seen.start_utc < plan_window.end_utc
        and seen.end_utc > plan_window.start_utc
    group by plan_window.pump_id, plan_window.day_local, plan_window.start_utc, plan_window.speed_rpm
),
planned_speed as (
    select distinct pump_id, speed_rpm from plan_window
),
planned_most as (
    -- The nearest grid speed from above that is known, else the nearest from below, stretched.
    select
        planned_speed.pump_id, planned_speed.speed_rpm,
        coalesce(
            min_by(grid.flow_m3h_hi, grid.speed_rpm)
                filter (grid.flow_m3h_hi is not null and grid.speed_rpm >= planned_speed.speed_rpm),
            max_by(grid.flow_m3h_hi * planned_speed.speed_rpm / grid.speed_rpm, grid.speed_rpm)
                filter (
                    grid.flow_m3h_hi is not null and grid.speed_rpm > 0 and grid.speed_rpm < planned_speed.speed_rpm
                ),
            any_value(highest.flow_m3h_hi)
        ) as flow_m3h_hi,
        coalesce(
            min_by(grid.power_w_hi, grid.speed_rpm)
                filter (grid.power_w_hi is not null and grid.speed_rpm >= planned_speed.speed_rpm),
            max_by(grid.power_w_hi * pow(planned_speed.speed_rpm / grid.speed_rpm, 3), grid.speed_rpm)
                filter (
                    grid.power_w_hi is not null and grid.speed_rpm > 0 and grid.speed_rpm < planned_speed.speed_rpm
                ),
            any_value(highest.power_w_hi)
        ) as power_w_hi
    from planned_speed
    left join speed_grid as grid using (pump_id)
    left join highest using (pump_id)
    group by planned_speed.pump_id, planned_speed.speed_rpm
),
planned as (
    select
        window_seen.pump_id, window_seen.day_local,
        sum(window_seen.unknown_min order by window_seen.start_utc) as planned_unknown_min,
        case when count(*) filter (window_seen.unknown_min > 0 and planned_most.flow_m3h_hi is null) = 0
            then coalesce(
                sum(window_seen.unknown_min / 60 * planned_most.flow_m3h_hi order by window_seen.start_utc), 0
            ) end as volume_m3_hi,
        case when count(*) filter (window_seen.unknown_min > 0 and planned_most.power_w_hi is null) = 0
            then coalesce(
                sum(window_seen.unknown_min / 60000 * planned_most.power_w_hi order by window_seen.start_utc), 0
            ) end as energy_kwh_hi
    from window_seen
    join planned_most using (pump_id, speed_rpm)
    group by window_seen.pump_id, window_seen.day_local
),
bounds as (
    select
        unseen.pump_id, unseen.day_local, unseen.day_min, unseen.observed_min, unseen.unknown_min,
        unseen.longest_gap_min,
        case
            when unseen.unknown_min = 0 then 0
            when planned.pump_id is null then unseen.unknown_min / 60 * highest.flow_m3h_hi
            else planned.volume_m3_hi
        end as volume_m3_hi,
        case
            when unseen.unknown_min = 0 then 0
            when planned.pump_id is null then unseen.unknown_min / 60000 * highest.power_w_hi
            else planned.energy_kwh_hi
                + greatest(unseen.unknown_min - planned.planned_unknown_min, 0) / 60000 * $standby_w
        end as energy_kwh_hi
    from unseen
    left join planned using (pump_id, day_local)
    left join highest using (pump_id)
    order by unseen.pump_id, unseen.day_local
)
select * from bounds
