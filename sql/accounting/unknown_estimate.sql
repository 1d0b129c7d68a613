-- What the unknown stretches of valid days most likely held, from the state on either side and the plan.
-- Grain: one unknown span of a valid day. On any other day unknown time stays unknown and the day is a range.
-- Inputs: span (tables.SPANS; unknown spans are cut where the plan changes), span_estimate, unknown_bound, profile,
--   quarter, pump, site, speed_grid.
-- Parameters: $least_coverage, $longest_gap_min as in daily.sql; $near_rpm, two speeds this close are the same, unless
--   the power differs by $same_power_share and $same_power_w as in steady.sql;
--   $edge_min, a rest this short at a change of the plan is its edge, seen late [min].
-- Columns: pump_id; day_local; start_utc; end_utc; duration_min; volume_m3_mid, volume_m3_hi [m3], null no flow source;
--   energy_kwh_mid, energy_kwh_hi [kWh], null no source; energy_kwh_open [kWh], how far the estimate may lie off because
--   the two sides differ: no log says when the speed changed, nor, after a standstill, how long it primed meanwhile.
-- The same speed before and after: that speed went on. Else, where the pump follows its plan on both sides, the side
--   that agrees with the plan; else the mean of both.
-- Energy where the two sides differ and follow the plan: what the median of the same quarters of other days, where there
--   are two, leaves over beside what this day saw of them; within what the two sides and priming allow.
-- The highest is the greater rate of the two sides, for a pump that does not follow its plan; unknown_bound.sql has the
--   plan's.
with in_order as (
    select
        span.pump_id, span.day_local, span.kind, span.start_utc, span.end_utc, span.planned_speed_rpm,
        case when span.kind <> 'unknown' then coalesce(span.speed_rpm, 0) end as speed_rpm,
        span.cause in ('plan period', 'priming') or (span.kind = 'off' and (span.planned_speed_rpm = 0 or coalesce(
            -- The last sample at rest stands a little into the period that begins.
            epoch(span.end_utc - span.start_utc) <= 60 * $edge_min
            and lag(span.kind) over in_time = 'off' and lag(span.planned_speed_rpm) over in_time = 0, false
        ))) as on_plan,
        estimate.volume_m3_mid / estimate.duration_min as flow_mid,
        estimate.volume_m3_hi / estimate.duration_min as flow_hi,
        estimate.energy_kwh_mid / estimate.duration_min as power_mid,
        estimate.energy_kwh_hi / estimate.duration_min as power_hi
    from span
    left join span_estimate as estimate using (pump_id, start_utc)
    window in_time as (partition by span.pump_id order by span.start_utc)
),
sides as (
    select
        *,
        last_value(if(kind = 'unknown', null, {
            'rpm': speed_rpm, 'on_plan': on_plan, 'flow_mid': flow_mid, 'flow_hi': flow_hi, 'power_mid': power_mid, 'power_hi': power_hi
        }) ignore nulls) over (partition by pump_id order by start_utc rows between unbounded preceding and 1 preceding) as before,
        first_value(if(kind = 'unknown', null, {
            'rpm': speed_rpm, 'on_plan': on_plan, 'flow_mid': flow_mid, 'flow_hi': flow_hi, 'power_mid': power_mid, 'power_hi': power_hi
        }) ignore nulls) over (partition by pump_id order by start_utc rows between 1 following and unbounded following) as after
    from in_order
),
gap as (
    select
        sides.pump_id, sides.day_local, sides.start_utc, sides.end_utc,
        epoch(sides.end_utc - sides.start_utc) / 60 as duration_min,
        sides.before, sides.after,
        sides.before is not null and sides.after is not null
            and (
                abs(sides.before.rpm - sides.after.rpm) > $near_rpm
                -- A mean over a change may show nearly the same speed.
                or coalesce(
                    abs(sides.before.power_mid - sides.after.power_mid) * 60000 > $same_power_w
                    and least(sides.before.power_mid, sides.after.power_mid)
                    < $same_power_share * greatest(sides.before.power_mid, sides.after.power_mid), false
                )
            ) as changes,
        case
            when sides.before is null then 0
            when sides.after is null then 1
            when not changes then 0.5
            when not (sides.before.on_plan and sides.after.on_plan) then 0.5
            when abs(sides.before.rpm - sides.planned_speed_rpm) <= $near_rpm then 1
            when abs(sides.after.rpm - sides.planned_speed_rpm) <= $near_rpm then 0
            else 0.5
        end as share_before
    from sides
    join unknown_bound as bound using (pump_id, day_local)
    where sides.kind = 'unknown'
        and sides.end_utc > sides.start_utc
        and bound.observed_min >= $least_coverage * bound.day_min
        and bound.longest_gap_min <= $longest_gap_min
),
usual_quarter as (
    -- What the pump does at this time of day under this plan, on days that saw the whole quarter: starts with their
    --   priming.
    select pump_id, clock_local, planned_speed_rpm, median(energy_kwh) as energy_kwh
    from profile
    where unknown_min = 0 and energy_kwh is not null
    group by all
    having count(*) >= 2
),
touched as (
    select
        gap.pump_id, gap.start_utc,
        epoch(least(gap.end_utc, quarter.end_utc) - greatest(gap.start_utc, quarter.start_utc)) / 60 / profile.unknown_min
            * (usual_quarter.energy_kwh - if(profile.unknown_min < 15, profile.energy_kwh, 0)) as energy_kwh
    from gap
    join profile using (pump_id, day_local)
    join pump using (pump_id)
    join site on site.site_id = pump.site_id
    join quarter
        on quarter.zone = site.zone and quarter.day_local = profile.day_local and quarter.quarter = profile.quarter
        and quarter.start_utc < gap.end_utc and quarter.end_utc > gap.start_utc
    left join usual_quarter
        on usual_quarter.pump_id = gap.pump_id
        and usual_quarter.clock_local = profile.clock_local
        and usual_quarter.planned_speed_rpm is not distinct from profile.planned_speed_rpm
),
usual as (
    select pump_id, start_utc, if(count(energy_kwh) = count(*), sum(energy_kwh order by energy_kwh), null) as energy_kwh
    from touched
    group by pump_id, start_utc
),
primed as (
    -- Power while priming [kWh/min]; beyond the known speeds by their cube, as in unknown_bound.sql.
    select
        pump.pump_id, any_value(pump.priming_min) as duration_min,
        coalesce(
            min_by(grid.power_w_mid, grid.speed_rpm) filter (grid.speed_rpm >= pump.priming_speed_rpm),
            max_by(grid.power_w_mid * pow(pump.priming_speed_rpm / grid.speed_rpm, 3), grid.speed_rpm)
        ) / 60000 as power
    from pump
    join speed_grid as grid on grid.pump_id = pump.pump_id and grid.speed_rpm > 0 and grid.power_w_mid is not null
    where pump.priming_min > 0
    group by pump.pump_id
),
hidden as (
    -- The most that the gap may hold: a start in it takes its priming along, up to the registered minutes.
    select
        gap.*,
        usual.energy_kwh as usual_kwh,
        gap.duration_min * least(before.power_mid, after.power_mid) as least_kwh,
        gap.duration_min * greatest(before.power_mid, after.power_mid)
            + if(before.rpm = 0 and after.rpm > 0 and primed.pump_id is not null, least(gap.duration_min, primed.duration_min), 0)
            * greatest(coalesce(primed.power, 0) - greatest(before.power_mid, after.power_mid), 0) as most_kwh
    from gap
    left join usual using (pump_id, start_utc)
    left join primed using (pump_id)
),
compared as (
    select
        * replace (
            if(
                changes and before.on_plan and after.on_plan and usual_kwh is not null,
                greatest(least(usual_kwh, most_kwh), least_kwh), null
            ) as usual_kwh
        )
    from hidden
),
unknown_estimate as (
    select
        pump_id, day_local, start_utc, end_utc, duration_min,
        duration_min * case share_before
            when 1 then before.flow_mid
            when 0 then after.flow_mid
            else (before.flow_mid + after.flow_mid) / 2
        end as volume_m3_mid,
        duration_min * greatest(before.flow_hi, after.flow_hi) as volume_m3_hi,
        coalesce(usual_kwh, duration_min * case share_before
            when 1 then before.power_mid
            when 0 then after.power_mid
            else (before.power_mid + after.power_mid) / 2
        end) as energy_kwh_mid,
        greatest(duration_min * greatest(before.power_hi, after.power_hi), usual_kwh, most_kwh) as energy_kwh_hi,
        greatest(energy_kwh_mid - coalesce(least_kwh, 0), most_kwh - energy_kwh_mid) as energy_kwh_open
    from compared
    order by pump_id, start_utc
)
select * from unknown_estimate
