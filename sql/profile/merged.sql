-- Stretches of the pumps that have logs of several sources, merged by quantity: running and speed from one log, energy
--   from another.
-- Grain: stretch of one pump. Inputs: steady (pump_id with the unit separator and the place of the log in fleet.toml for
--   pumps with several logs, as reading_by_log.sql names them).
-- Output: the columns of steady, with the pumps' own names; all other pumps as they are.
-- Where several logs say the same, one with a speed goes before one without, then the log named first in fleet.toml.
-- Energy of a log's stretch is shared by time over what the pump did meanwhile.
with source as (
    select *, contains(pump_id, chr(31)) as is_shared from steady
),

log_stretch as (
    select
        * exclude (pump_id, is_shared),
        split_part(pump_id, chr(31), 1) as pump_id,
        split_part(pump_id, chr(31), 2)::int as place,
        row_number() over (order by pump_id, start_utc) as stretch
    from source
    where is_shared and end_utc > start_utc
),

edge as (
    select pump_id, start_utc as at_utc from log_stretch
    union
    select pump_id, end_utc from log_stretch
),

piece as (
    select pump_id, at_utc as from_utc, lead(at_utc) over (partition by pump_id order by at_utc) as to_utc
    from edge
),

covered as (
    select
        piece.pump_id,
        piece.from_utc,
        piece.to_utc,
        epoch(piece.to_utc - piece.from_utc) / epoch(log_stretch.end_utc - log_stretch.start_utc) as share,
        log_stretch.* exclude (pump_id)
    from piece
    join log_stretch
        on piece.pump_id = log_stretch.pump_id
        and log_stretch.start_utc < piece.to_utc
        and log_stretch.end_utc > piece.from_utc
    where piece.to_utc is not null
),

chosen as (
    select
        pump_id,
        from_utc,
        to_utc,
        arg_min(stretch, (speed_rpm is null, place)) filter (is_on is not null) as run_stretch,
        arg_min(is_on, (speed_rpm is null, place)) filter (is_on is not null) as is_on,
        arg_min(speed_rpm, place) filter (speed_rpm is not null) as speed_rpm,
        arg_min(energy_kwh * share, place) filter (energy_kwh is not null) as energy_kwh,
        arg_min(from_power, place) filter (energy_kwh is not null) as from_power,
        arg_min(flow_m3h, place) filter (flow_m3h is not null) as flow_m3h,
        arg_min(aux_on, place) filter (aux_on is not null) as aux_on,
        max(readings) filter (from_utc = start_utc) as readings
    from covered
    group by pump_id, from_utc, to_utc
),

followed as (
    select
        *,
        coalesce(
            lag(to_utc) over pieces = from_utc
            and lag(run_stretch) over pieces is not distinct from run_stretch
            and (lag(energy_kwh) over pieces is null) = (energy_kwh is null)
            and lag(from_power) over pieces is not distinct from from_power
            and lag(flow_m3h) over pieces is not distinct from flow_m3h
            and lag(aux_on) over pieces is not distinct from aux_on,
            false
        ) as goes_on
    from chosen
    window pieces as (partition by pump_id order by from_utc)
),

counted as (
    select *, count(*) filter (not goes_on) over (partition by pump_id order by from_utc) as part from followed
),

joined as (
    select
        pump_id,
        min(from_utc) as start_utc,
        max(to_utc) as end_utc,
        any_value(is_on) as is_on,
        any_value(speed_rpm) as speed_rpm,
        sum(energy_kwh order by from_utc) as energy_kwh,
        bool_and(from_power) as from_power,
        any_value(flow_m3h) as flow_m3h,
        any_value(aux_on) as aux_on,
        coalesce(sum(readings), 0)::bigint as readings
    from counted
    group by pump_id, part
),

merged as (
    select * exclude (is_shared) from source where not is_shared
    union all by name
    select * from joined
)

select * from merged order by pump_id, start_utc
