-- The readings of an export none of whose rows breaks a rule, straight from the file; the first row that does ends the
--   query with an error, and the long way (typed_from_fast, place_universal, rule, judge) then says what is wrong where.
-- Grain: one reading. Inputs: fast_row (stamp as timestamp, pump_id, speed, power, energy_total, run_total, flow,
--   air_temperature, aux_text; in file order); known_word (word, aux_on).
-- Parameters: as in typed_from_fast.sql and rule.sql; $shift_s, seconds from the beginning to the stamp; $offset_s, the
--   one offset from UTC that all pumps of the file keep while it lasts [s].
-- Output: the columns of readings, in file order. Whether each pump is in the register and in the zone of the offset is
--   checked on the pumps afterwards, which costs less than a join on each row.
with source as (
    select row_number() over () - 1 as place, * from fast_row
),

scaled as (
    select
        source.place + $first_line as line,
        source.pump_id,
        source.stamp - to_seconds($shift_s) as time_utc,
        source.speed * $speed_scale as speed_rpm,
        source.power * $power_scale as power_w,
        source.energy_total * $energy_total_scale as energy_total_kwh,
        source.run_total * $run_total_scale as run_total_h,
        source.flow * $flow_scale as flow_m3h,
        source.air_temperature * $air_temperature_scale + $air_temperature_shift as air_temperature_c,
        source.aux_text,
        known_word.aux_on
    from source
    left join known_word on source.aux_text = known_word.word
),

checked as (
    select
        *,
        pump_id is not null
            and coalesce(time_utc >= timestamp '2000-01-01' and time_utc < timestamp '2100-01-01', false)
            and coalesce(speed_rpm between 0 and $speed_most_rpm, true)
            and coalesce(power_w between $power_least_w and $power_most_w, true)
            and coalesce(energy_total_kwh between 0 and 1e9, true)
            and coalesce(run_total_h between 0 and 1e7, true)
            and coalesce(flow_m3h between 0 and $flow_most_m3h, true)
            and coalesce(air_temperature_c between $air_least_c and $air_most_c, true)
            and (aux_text is null or aux_on is not null)
            and coalesce(speed_rpm, power_w, energy_total_kwh, run_total_h, flow_m3h, air_temperature_c) is not null as holds
    from scaled
),

clean_reading as (
    select
        pump_id,
        time_utc,
        (time_utc + to_seconds($offset_s))::date as day_local,
        $interval_s::bigint as interval_s,
        speed_rpm,
        power_w,
        energy_total_kwh,
        run_total_h,
        flow_m3h,
        aux_on,
        air_temperature_c,
        $export_id as export_id,
        if(holds, line, error('a row breaks a rule')) as line
    from checked
)

select * from clean_reading
