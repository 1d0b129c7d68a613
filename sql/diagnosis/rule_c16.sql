-- C16, too many starts a day.
-- grain: one pump. inputs: pump_start, daily, excused_day.
-- parameters: $starts a day, $days (of the week's valid days), $still_min, a shorter stop is a reading amiss or a blip of
--   the supply [min]. columns: those of EVIDENCE that it fills.
-- A start for freeze protection or for an auxiliary load is not counted: the controller does as it should.
with by_day as (
    select s.site_id, s.pump_id, s.day_local, count(*) as starts
    from pump_start as s
    join daily as d on d.pump_id = s.pump_id and d.day_local = s.day_local and d.valid
    anti join excused_day as x on x.pump_id = s.pump_id and x.day_local = s.day_local
    where s.in_week and s.still_min >= $still_min and s.reason not in ('freeze protection', 'auxiliary load')
    group by s.site_id, s.pump_id, s.day_local
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict, min(day_local) as first_day, max(day_local) as last_day,
        count(*) as days, median(starts) as measured, $starts::double as threshold, 'starts a day' as unit
    from by_day
    where starts > $starts
    group by site_id, pump_id
    having count(*) >= $days
)
select * from evidence order by site_id, component
