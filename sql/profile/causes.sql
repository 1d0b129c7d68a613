-- Why each stretch runs, by the plan, the priming and the freeze protection on record.
-- Grain: span. Inputs: piece; pump; pump_day (pump_id, day_local, start_utc).
-- Parameters: $near_rpm, a speed this close to a keyed speed is that speed; $edge_min, a stretch this short at a change
--   of the plan is its edge, seen late or blended; $override_least_min, $override_most_min, length of a manual override;
--   $bridge_min, a shorter hole in the log does not end one; $freeze_margin_c, difference between the station and the
--   pad.
-- Output: the columns of spans; power_w is null where a counter gives the energy. A run without logged speed has the
--   cause unknown.
-- Order of explanation: unknown, off, plan period, priming, freeze protection, edge, override, unexplained.
with source as (
    select
        piece.*,
        pump.priming_speed_rpm,
        pump.priming_min,
        pump.freeze_setpoint_c,
        pump.freeze_speed_rpm,
        epoch(piece.end_utc - piece.start_utc) / 60 as duration_min
    from piece join pump using (pump_id)
),

sequenced as (
    select
        *,
        lag(kind) over of_pump as previous_kind,
        lag(speed_rpm) over of_pump as previous_rpm,
        lead(speed_rpm) over of_pump as next_rpm,
        lead(planned_period) over of_pump as next_period,
        lag(planned_period) over of_pump as previous_period
    from source
    window of_pump as (partition by pump_id order by start_utc)
),

started as (
    select
        *,
        max(start_utc) filter (where kind = 'run' and previous_kind is distinct from 'run')
            over (partition by pump_id order by start_utc rows between unbounded preceding and current row) as run_start_utc
    from sequenced
),

plain as (
    select
        *,
        case
            when kind <> 'run' then kind
            when abs(speed_rpm - planned_speed_rpm) <= $near_rpm then 'plan period'
            when abs(speed_rpm - priming_speed_rpm) <= $near_rpm
                and epoch(end_utc - run_start_utc) / 60 <= priming_min + $edge_min
                then 'priming'
            when abs(speed_rpm - freeze_speed_rpm) <= $near_rpm and air_least_c <= freeze_setpoint_c + $freeze_margin_c
                then 'freeze protection'
        end as plain_cause
    from started
),

edged as (
    select
        *,
        case
            when plain_cause is not null then plain_cause
            -- the part of one stretch that overhangs its period
            when duration_min <= $edge_min
                and bool_or(plain_cause = 'plan period') over (partition by pump_id, whole)
                then 'plan period'
            -- a mean over an interval in which the speed changed
            when duration_min <= $edge_min
                and speed_rpm >= least(coalesce(previous_rpm, 0), coalesce(next_rpm, 0))
                and speed_rpm <= greatest(previous_rpm, next_rpm, priming_speed_rpm)
                and coalesce(planned_period, next_period, previous_period) is not null
                then 'plan period'
        end as edged_cause,
        coalesce(planned_period, next_period, previous_period) as nearest_period
    from plain
),

-- neighbours off the plan at nearly one speed are one episode, also across a short hole in the log
off_plan_marked as (
    select
        *,
        edged_cause is null and planned_speed_rpm is not null as off_plan,
        lead(edged_cause) over of_pump as next_cause,
        lead(kind) over of_pump as following_kind,
        lead(planned_speed_rpm) over of_pump as following_planned_rpm,
        lag(edged_cause is null and planned_speed_rpm is not null) over of_pump as previous_off_plan,
        lag(speed_rpm) over of_pump as previous_known_rpm
    from edged
    where not (kind = 'unknown' and duration_min <= $bridge_min)
    window of_pump as (partition by pump_id order by start_utc)
),

episode_numbered as (
    select
        *,
        sum((off_plan and not coalesce(previous_off_plan and abs(speed_rpm - previous_known_rpm) <= $near_rpm, false))::int)
            over (partition by pump_id order by start_utc) as episode
    from off_plan_marked
),

episode as (
    select
        pump_id,
        episode,
        epoch(max(end_utc) - min(start_utc)) / 60 as episode_min,
        arg_max(next_cause = 'plan period' or (following_kind = 'off' and following_planned_rpm = 0), start_utc) as back_to_plan
    from episode_numbered
    where off_plan
    group by all
),

overridden as (
    select episode_numbered.pump_id, episode_numbered.start_utc
    from episode_numbered
    join episode using (pump_id, episode)
    where episode_numbered.off_plan
        and episode.back_to_plan
        and episode.episode_min between $override_least_min and $override_most_min
),

spans as (
    select
        numbered.site_id,
        numbered.pump_id,
        numbered.day_local,
        numbered.start_utc,
        numbered.end_utc,
        numbered.duration_min,
        epoch(numbered.start_utc - pump_day.start_utc) / 60 as start_min,
        numbered.kind,
        case
            when numbered.edged_cause is not null then numbered.edged_cause
            when numbered.speed_rpm is null then 'unknown'
            when overridden.start_utc is not null then 'override'
            else 'unexplained'
        end as cause,
        case when numbered.edged_cause in ('plan period', 'priming') then numbered.nearest_period end as period,
        numbered.planned_speed_rpm,
        numbered.speed_rpm,
        if(numbered.from_power, numbered.energy_kwh / nullif(numbered.duration_min, 0) * 60000, null) as power_w,
        numbered.energy_kwh,
        numbered.flow_m3h,
        numbered.aux_on,
        numbered.air_temperature_c,
        numbered.readings
    from edged as numbered
    join pump_day on numbered.pump_id = pump_day.pump_id and numbered.day_local = pump_day.day_local
    left join overridden on numbered.pump_id = overridden.pump_id and numbered.start_utc = overridden.start_utc
)

select * from spans order by pump_id, start_utc
