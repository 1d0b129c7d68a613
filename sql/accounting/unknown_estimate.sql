-- What the unknown stretches of valid days most likely held, from the state on either side and the plan.
-- Grain: one unknown span of a valid day. On any other day unknown time stays unknown and the day is a range.
-- Inputs: span (tables.SPANS; unknown spans are cut where the plan changes), span_estimate, unknown_bound, profile,
--   quarter, pump, site.
-- Parameters: $least_coverage, $longest_gap_min as in daily.sql; $near_rpm, two speeds this close are the same.
-- Columns: pump_id; day_local; start_utc; end_utc; duration_min; volume_m3_mid, volume_m3_hi [m3], null no flow source;
--   energy_kwh_mid, energy_kwh_hi [kWh], null no source; energy_kwh_open [kWh], how far the estimate may lie off because
--   the pump was at another speed after the gap than before: no log says when it changed.
-- The same speed before and after: that speed went on. Else, where the pump follows its plan on both sides, the side
--   that agrees with the plan; else the mean of both.
-- Energy where the two sides differ and follow the plan: the median of the same quarters of other days, where there are
--   two.
-- The highest is the greater rate of the two sides, for a pump that does not follow its plan; unknown_bound.sql has the
--   plan's.
with in_order as (
    select
        span.pump_id, span.day_local, span.kind, span.start_utc, span.end_utc, span.planned_speed_rpm,
        case when span.kind <> 'unknown' then coalesce(span.speed_rpm, 0) end as speed_rpm,
        span.cause in ('plan period', 'priming') or (span.kind = 'off' and span.planned_speed_rpm = 0) as on_plan,
        estimate.volume_m3_mid / estimate.duration_min as flow_mid,
        estimate.volume_m3_hi / estimate.duration_min as flow_hi,
        estimate.energy_kwh_mid / estimate.duration_min as power_mid,
        estimate.energy_kwh_hi / estimate.duration_min as power_hi
    from span
    left join span_estimate as estimate using (pump_id, start_utc)
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
        case
            when sides.before is null then 0
            when sides.after is null then 1
            when abs(sides.before.rpm - sides.after.rpm) <= $near_rpm then 0.5
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
        epoch(least(gap.end_utc, quarter.end_utc) - greatest(gap.start_utc, quarter.start_utc)) / 900 * usual_quarter.energy_kwh
            as energy_kwh
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
compared as (
    select
        gap.*,
        if(abs(before.rpm - after.rpm) > $near_rpm and before.on_plan and after.on_plan, usual.energy_kwh, null) as usual_kwh
    from gap left join usual using (pump_id, start_utc)
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
        greatest(duration_min * greatest(before.power_hi, after.power_hi), usual_kwh) as energy_kwh_hi,
        case
            when abs(before.rpm - after.rpm) <= $near_rpm then 0
            else greatest(
                energy_kwh_mid - duration_min * least(coalesce(before.power_mid, 0), coalesce(after.power_mid, 0)),
                duration_min * greatest(before.power_mid, after.power_mid) - energy_kwh_mid
            )
        end as energy_kwh_open
    from compared
    order by pump_id, start_utc
)
select * from unknown_estimate
