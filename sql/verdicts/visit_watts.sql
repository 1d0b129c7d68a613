-- Wire power that visits read at a speed, of the pump named, or of the only pump of the site.
-- Grain: reading of a visit. Inputs: visit; pump. Output: pump_id, speed_rpm [rev/min], power_w [W].
with only_pump as (
    select site_id, any_value(pump_id) as pump_id
    from pump
    group by site_id
    having count(*) = 1
),

visit_watts as (
    select coalesce(visit.pump_id, only_pump.pump_id) as pump_id, visit.speed_rpm, visit.power_w
    from visit left join only_pump using (site_id)
    where visit.speed_rpm is not null
        and visit.power_w is not null
        and coalesce(visit.pump_id, only_pump.pump_id) is not null
)

select * from visit_watts order by pump_id, speed_rpm, power_w
