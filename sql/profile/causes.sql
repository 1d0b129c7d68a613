-- Why each stretch runs: by the plan, the priming, the freeze protection and the auxiliary load on record, and by hand.
-- Grain: span. Inputs: piece; pump; pump_day (pump_id, day_local, start_utc).
-- Parameters: $near_rpm, a speed this close to a keyed speed is that speed; $edge_min, a stretch this short at a change
--   of the plan is its edge, seen late or blended; $override_least_min, $override_most_min, length of a manual override;
--   $bridge_min, a shorter hole in the log does not end one; $freeze_margin_c, difference between the station and the
--   pad.
-- Output: the columns of spans; power_w is null where a counter gives the energy. A run without logged speed has the
--   cause unknown.
-- Order of explanation: unknown, off, plan period, priming, freeze protection, auxiliary load, edge, override,
--   unexplained.
-- Pieces are judged by the whole they belong to, so that cutting one changes no minutes: stretch, nearly one speed
--   without a break; part, what one part of the plan makes of it; turn, what the auxiliary load makes of that.
with source as (
    select
        piece.*,
        pump.priming_speed_rpm,
        coalesce(pump.priming_min, 0) as priming_min,
        pump.freeze_setpoint_c,
        pump.freeze_speed_rpm,
        pump.aux_min_speed_rpm,
        coalesce(abs(piece.speed_rpm - piece.planned_speed_rpm) <= $near_rpm and piece.planned_speed_rpm > 0, false) as near_plan
    from piece join pump using (pump_id)
),

marked as (
    select
        *,
        kind is distinct from lag(kind) over of_pump
            or start_utc is distinct from lag(end_utc) over of_pump
            or (speed_rpm is null) is distinct from (lag(speed_rpm) over of_pump is null)
            or coalesce(abs(speed_rpm - lag(speed_rpm) over of_pump) > $near_rpm, false) as other_state,
        planned_speed_rpm is distinct from lag(planned_speed_rpm) over of_pump
            or planned_period is distinct from lag(planned_period) over of_pump as other_plan,
        aux_on is distinct from lag(aux_on) over of_pump as other_aux
    from source
    window of_pump as (partition by pump_id order by start_utc)
),

numbered as (
    select
        *,
        sum(other_state::int) over of_pump as stretch,
        sum((other_state or other_plan)::int) over of_pump as part,
        sum((other_state or other_plan or other_aux)::int) over of_pump as turn
    from marked
    window of_pump as (partition by pump_id order by start_utc)
),

stretches as (
    select
        pump_id,
        stretch,
        any_value(kind) as kind,
        min(start_utc) as stretch_start_utc,
        max(end_utc) as stretch_end_utc,
        epoch(max(end_utc) - min(start_utc)) / 60 as stretch_min,
        first(speed_rpm order by start_utc) as first_rpm,
        last(speed_rpm order by start_utc) as last_rpm,
        first(planned_period order by start_utc) as first_period,
        last(planned_period order by start_utc) as last_period,
        -- the plan is followed somewhere in it
        bool_or(near_plan or coalesce(kind = 'off' and planned_speed_rpm = 0, false)) as keeps_plan
    from numbered
    group by pump_id, stretch
),

sided as (
    select
        *,
        lag(last_rpm) over of_pump as previous_rpm,
        lead(first_rpm) over of_pump as next_rpm,
        lag(last_period) over of_pump as previous_period,
        lead(first_period) over of_pump as next_period,
        coalesce(lag(keeps_plan) over of_pump or lead(keeps_plan) over of_pump, false)
            or lag(kind) over of_pump is null or lead(kind) over of_pump is null
            or lag(kind) over of_pump = 'unknown' or lead(kind) over of_pump = 'unknown' as beside_plan,
        -- behind a short hole the same speed goes on
        kind = 'run' and lag(kind) over of_pump is distinct from 'run' and not coalesce(
            lag(kind) over of_pump = 'unknown' and lag(stretch_min) over of_pump <= $bridge_min
                and abs(first_rpm - lag(last_rpm, 2) over of_pump) <= $near_rpm and lag(kind, 2) over of_pump = 'run',
            false
        ) as is_start
    from stretches
    window of_pump as (partition by pump_id order by stretch)
),

started as (
    select
        * exclude (kind, is_start, first_rpm, last_rpm, first_period, last_period),
        max(stretch_start_utc) filter (where is_start) over (partition by pump_id order by stretch rows between unbounded preceding and current row)
            as run_start_utc
    from sided
),

-- Nothing but a stop cuts priming short: a longer run at its speed primes first.
primed as (
    select
        *,
        not near_plan and abs(speed_rpm - priming_speed_rpm) <= $near_rpm and priming_min > 0 as near_priming,
        case when stretch_end_utc <= run_start_utc + to_seconds(60 * (priming_min + $edge_min))
            then stretch_end_utc else run_start_utc + to_seconds(60 * priming_min) end as primed_utc
    from numbered join started using (pump_id, stretch)
),

bounded as (
    select
        * exclude (start_utc, end_utc, energy_kwh),
        energy_kwh / epoch(end_utc - start_utc) as energy_kwh_s,
        unnest(if(coalesce(near_priming and start_utc < primed_utc and primed_utc < end_utc, false),
            [{'from': start_utc, 'till': primed_utc}, {'from': primed_utc, 'till': end_utc}],
            [{'from': start_utc, 'till': end_utc}])) as bound
    from primed
),

measured as (
    select
        *,
        bound['from'] as start_utc,
        bound['till'] as end_utc,
        epoch(bound['till'] - bound['from']) as duration_s,
        epoch(bound['till'] - bound['from']) / 60 as duration_min,
        energy_kwh_s * epoch(bound['till'] - bound['from']) as energy_kwh
    from bounded
),

summed as (
    select
        *,
        sum(epoch_ms(end_utc) - epoch_ms(start_utc)) over of_part / 60000 as part_min,
        sum(epoch_ms(end_utc) - epoch_ms(start_utc)) over (partition by pump_id, turn) / 60000 as turn_min,
        sum(epoch_ms(end_utc) - epoch_ms(start_utc)) over (partition by pump_id, whole) / 60000 / nullif(readings, 0) as sample_min,
        min(air_least_c) over of_part as part_least_c
    from measured
    window of_part as (partition by pump_id, part)
),

plain as (
    select
        *,
        case
            when kind <> 'run' then kind
            when near_plan then 'plan period'
            when near_priming and end_utc <= primed_utc then 'priming'
            when coalesce(planned_speed_rpm, 0) = 0 and abs(speed_rpm - freeze_speed_rpm) <= $near_rpm
                and part_least_c <= freeze_setpoint_c + $freeze_margin_c
                then 'freeze protection'
            when aux_on and planned_speed_rpm < aux_min_speed_rpm and abs(speed_rpm - aux_min_speed_rpm) <= $near_rpm
                then 'auxiliary load'
        end as plain_cause
    from summed
),

edged as (
    select
        *,
        case
            when plain_cause is not null then plain_cause
            -- the part of one stretch that overhangs its period, the cold or the load
            when part_min <= $edge_min and bool_or(plain_cause = 'plan period') over of_stretch then 'plan period'
            when part_min <= $edge_min and bool_or(plain_cause = 'freeze protection') over of_stretch then 'freeze protection'
            when turn_min <= $edge_min and bool_or(plain_cause = 'auxiliary load') over of_stretch then 'auxiliary load'
            -- a mean over an interval in which the speed changed, at a start also to and from the priming's
            when stretch_min <= $edge_min
                and beside_plan
                and speed_rpm >= least(coalesce(previous_rpm, 0), coalesce(next_rpm, 0))
                and speed_rpm <= greatest(previous_rpm, next_rpm,
                    case when stretch_start_utc < run_start_utc + to_seconds(60 * (priming_min + $edge_min)) then priming_speed_rpm end)
                and coalesce(planned_period, next_period, previous_period) is not null
                then 'plan period'
        end as edged_cause,
        coalesce(planned_period, next_period, previous_period) as nearest_period
    from plain
    window of_stretch as (partition by pump_id, stretch)
),

-- Off the plan, and back on it; a short hole in the log, a short stop and the priming after it end nothing.
in_view as (
    select
        *,
        edged_cause is null and planned_speed_rpm is not null and speed_rpm is not null as off_plan,
        edged_cause in ('plan period', 'freeze protection', 'auxiliary load')
            or coalesce(kind = 'off' and (planned_speed_rpm = 0 or (part_min <= $edge_min and keeps_plan)), false) as on_plan
    from edged
    where not (kind = 'unknown' and stretch_min <= $bridge_min)
        and edged_cause is distinct from 'priming'
        and not coalesce(kind = 'off' and stretch_min <= $edge_min and not keeps_plan, false)
),

followed as (
    select
        *,
        coalesce(lead(on_plan) over of_pump and epoch(lead(start_utc) over of_pump - end_utc) / 60 <= $bridge_min, false) as back_on_plan,
        coalesce(lag(off_plan) over of_pump and epoch(start_utc - lag(end_utc) over of_pump) / 60 <= $bridge_min, false) as goes_on,
        coalesce(abs(speed_rpm - lag(speed_rpm) over of_pump) <= $near_rpm, false) as as_fast
    from in_view
    window of_pump as (partition by pump_id order by start_utc)
),

-- neighbours at nearly one speed are one episode; episodes without the plan between them are one chain
episode_numbered as (
    select
        *,
        sum((off_plan and not (goes_on and as_fast))::int) over of_pump as episode,
        sum((off_plan and not goes_on)::int) over of_pump as chain
    from followed
    window of_pump as (partition by pump_id order by start_utc)
),

episode as (
    select
        pump_id,
        chain,
        episode,
        epoch(max(end_utc) - min(start_utc)) / 60 as episode_min,
        -- how far its ends are off: one sample, where there are samples
        max(if(sample_min <= $edge_min, sample_min, 0)) as slack_min,
        arg_max(back_on_plan, start_utc) as back_on_plan
    from episode_numbered
    where off_plan
    group by all
),

-- An override hands back to the plan, or to another one that does.
handed_back as (
    select
        pump_id,
        episode,
        episode_min,
        first_value(back_on_plan) over later and bool_and(episode_min <= $override_most_min + coalesce(slack_min, 0)) over later as ends_well
    from episode
    window later as (partition by pump_id, chain order by episode desc rows between unbounded preceding and current row)
),

overridden as (
    select episode_numbered.pump_id, episode_numbered.start_utc
    from episode_numbered
    join handed_back using (pump_id, episode)
    where episode_numbered.off_plan and handed_back.ends_well and handed_back.episode_min >= $override_least_min
),

spans as (
    select
        edged.site_id,
        edged.pump_id,
        edged.day_local,
        edged.start_utc,
        edged.end_utc,
        edged.duration_min,
        epoch(edged.start_utc - pump_day.start_utc) / 60 as start_min,
        edged.kind,
        case
            when edged.edged_cause is not null then edged.edged_cause
            when edged.speed_rpm is null then 'unknown'
            when overridden.start_utc is not null then 'override'
            else 'unexplained'
        end as cause,
        case when edged.edged_cause in ('plan period', 'priming') then edged.nearest_period end as period,
        edged.planned_speed_rpm,
        edged.speed_rpm,
        if(edged.from_power, edged.energy_kwh / nullif(edged.duration_min, 0) * 60000, null) as power_w,
        edged.energy_kwh,
        edged.flow_m3h,
        edged.aux_on,
        edged.air_temperature_c,
        edged.readings
    from edged
    join pump_day on edged.pump_id = pump_day.pump_id and edged.day_local = pump_day.day_local
    left join overridden on edged.pump_id = overridden.pump_id and edged.start_utc = overridden.start_utc
)

select * from spans order by pump_id, start_utc
