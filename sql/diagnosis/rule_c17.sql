-- C17, two steps almost the same: periods that join and differ by no more than a hand would notice.
-- grain: one pump. inputs: keyed_period. parameters: $near_rpm [rev/min], $join_min [min]. columns: those of EVIDENCE
--   that it fills.
-- A joint at midnight stays: where a period cannot run across midnight it has to be keyed in as two.
with joined as (
    select *, abs(next_speed_rpm - speed_rpm) as apart_rpm,
        row_number() over (partition by pump_id order by abs(next_speed_rpm - speed_rpm), start_min) as place
    from keyed_period
    where periods >= 2 and gap_min <= $join_min and abs(next_speed_rpm - speed_rpm) <= $near_rpm
        and not (stop_min = 1440 and next_start_min = 0)
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict, apart_rpm as measured, $near_rpm::double as threshold,
        'rpm apart' as unit,
        format('Period {} at {:.0f} rpm runs into period {} at {:.0f} rpm at {:02d}:{:02d}.', period, speed_rpm,
            next_period, next_speed_rpm, next_start_min // 60, next_start_min % 60) as extra
    from joined
    where place = 1
)
select * from evidence order by site_id, component
