-- D18, freeze protection runs in the warm: runs off the plan at the speed of freeze protection, in nights that are not
--   cold.
-- grain: one pump with freeze protection on record. inputs: span, judged_day, pump, pump_fact, speed_grid, excused_day.
-- parameters: $air_c (middle air temperature of the runs) [deg C], $margin_c (station against pad, above the set point)
--   [deg C], $nights (of the week), $minutes (of a night) [min], $near_rpm [rev/min], $low_share (of full speed, where
--   the speed of freeze protection is not on record). columns: those of EVIDENCE that it fills.
-- A night goes from noon to noon by the time elapsed since midnight. Low speed: a federal rule lets freeze protection
--   ship at no more than half of full speed (facts 1.5).
with protected as (
    select f.site_id, f.pump_id, p.freeze_setpoint_c, p.freeze_speed_rpm, f.full_speed_rpm
    from pump_fact as f
    join pump as p using (pump_id)
    where p.freeze_setpoint_c is not null or p.freeze_speed_rpm is not null
),
off_plan as (
    select p.site_id, p.pump_id, p.freeze_setpoint_c, s.day_local, s.start_utc, s.duration_min, s.air_temperature_c,
        g.power_w_mid,
        case when s.start_min >= 720 then s.day_local else s.day_local - 1 end as night
    from protected as p
    join span as s using (pump_id)
    join judged_day as j on j.day_local = s.day_local and j.in_week
    left join speed_grid as g on g.pump_id = s.pump_id and g.speed_rpm = round(s.speed_rpm / 25) * 25
    anti join excused_day as x on x.pump_id = s.pump_id and x.day_local = s.day_local
    where s.kind = 'run' and s.planned_speed_rpm = 0 and s.cause in ('override', 'unexplained', 'freeze protection')
        and (s.start_min >= 1080 or s.start_min < 600)
        and case when p.freeze_speed_rpm is not null then abs(s.speed_rpm - p.freeze_speed_rpm) <= $near_rpm
            else s.speed_rpm <= $low_share * p.full_speed_rpm end
),
nights as (
    select site_id, pump_id, night, min(day_local) as first_day, max(day_local) as last_day,
        sum(duration_min order by start_utc) as run_min, any_value(freeze_setpoint_c) as freeze_setpoint_c,
        sum(duration_min * air_temperature_c order by start_utc)
            / sum(duration_min order by start_utc) filter (air_temperature_c is not null) as air_c,
        sum(duration_min * power_w_mid order by start_utc) / 60000 as energy_kwh,
        count(*) = count(power_w_mid) as energy_known
    from off_plan
    group by site_id, pump_id, night
    having sum(duration_min order by start_utc) >= $minutes
),
counted as (
    select site_id, pump_id, min(first_day) as first_day, max(last_day) as last_day, count(*) as days,
        median(air_c) as air_c, count(air_c) as air_nights, median(run_min) as run_min,
        sum(energy_kwh order by night) as energy_kwh, bool_and(energy_known) as energy_known,
        any_value(freeze_setpoint_c) as freeze_setpoint_c
    from nights
    group by site_id, pump_id
    having count(*) >= $nights
),
evidence as (
    select site_id, pump_id as component, case when air_nights = days then 'found' else 'cannot tell' end as verdict,
        case when air_nights < days
            then 'hourly readings of a weather station: the pump runs off its plan at night as freeze protection does' end
                as needs,
        first_day, last_day, days, air_c as measured, greatest($air_c, freeze_setpoint_c + $margin_c) as threshold,
        'deg C' as unit, format('About {:.1f} h a night.', run_min / 60) as extra,
        case when energy_known and air_nights = days then energy_kwh end as benefit_kwh_week
    from counted
    where air_nights < days or air_c > greatest($air_c, freeze_setpoint_c + $margin_c)
)
select * from evidence order by site_id, component
