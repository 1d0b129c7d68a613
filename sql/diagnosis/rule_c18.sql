-- C18, a speed in the record that cannot be keyed in: off the grid of speeds, or beyond what the pump can do.
-- grain: one pump. inputs: keyed_period, pump. parameters: $grid_rpm, $least_rpm, $most_rpm [rev/min], $common_share and
--   $common_pumps (off the grid on that many pumps: then this fleet's pumps have another grid, and none is accused).
-- columns: those of EVIDENCE that it fills.
with checked as (
    select k.site_id, k.pump_id, k.period, k.start_min, k.speed_rpm, p.full_speed_rpm,
        k.speed_rpm % $grid_rpm <> 0 as off_grid,
        k.speed_rpm < $least_rpm or k.speed_rpm > least($most_rpm, coalesce(p.full_speed_rpm, $most_rpm)) as beyond
    from keyed_period as k
    join pump as p using (pump_id)
),
of_pump as (
    select pump_id, bool_or(off_grid) as off_grid
    from checked
    group by pump_id
),
own_grid as (
    select count(*) filter (off_grid) >= $common_pumps and count(*) filter (off_grid) > $common_share * count(*) as other
    from of_pump
),
wrong as (
    select c.*, row_number() over (partition by c.pump_id order by not c.beyond, c.start_min) as place
    from checked as c
    cross join own_grid as g
    where c.beyond or (c.off_grid and not g.other)
),
evidence as (
    select site_id, pump_id as component, 'found' as verdict, speed_rpm as measured,
        case when speed_rpm < $least_rpm then $least_rpm
            when beyond then least($most_rpm, coalesce(full_speed_rpm, $most_rpm))
            else $grid_rpm end::double as threshold,
        'rpm' as unit,
        format('It stands for period {}. ', period) || case
            when speed_rpm < $least_rpm then format('The lowest speed that can be keyed in is {:.0f} rpm.', $least_rpm::double)
            when beyond then format('The pump turns at most at {:.0f} rpm by its record.', least($most_rpm,
                coalesce(full_speed_rpm, $most_rpm))::double)
            else format('Speeds are keyed in by steps of {:.0f} rpm.', $grid_rpm::double) end as extra
    from wrong
    where place = 1
)
select * from evidence order by site_id, component
