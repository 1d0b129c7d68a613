-- D3, basket or filter loading: power at the same speed fell since the last cleaning on record.
-- Grain: one pump. Inputs: loading (account_tables.LOADING), past_level (account_tables.LEVELS), judged_day, pump, visit.
-- Parameters: $fall_share, least fall of power; $season_unknown, further fall that is asked where the fleet is too small to
--   take the season out; $days, the newest days in a row that must show it.
-- Columns: those of EVIDENCE that it fills.
-- `loading` has freed the power of season, compared it with the days after the last cleaning, and told steps from ramps.
-- Only days with power of their own count, and no comparison across work that made the pump another one.
with renewed as (
    select pump.pump_id, max(visit.day_local) as renewed_day
    from visit
    join pump on pump.site_id = visit.site_id and coalesce(nullif(visit.pump_id, ''), pump.pump_id) = pump.pump_id
    where visit.work in ('commissioning', 'repair')
    group by pump.pump_id
),
powered as (
    select distinct pump_id, day_local from past_level
),
known as (
    select
        l.*, row_number() over (partition by l.pump_id order by l.day_local desc) as newest,
        $fall_share + if(l.season_share is null, $season_unknown, 0) as limit_share
    from loading as l
    join judged_day as j on j.day_local = l.day_local and j.in_week
    semi join powered as p on p.pump_id = l.pump_id and p.day_local = l.day_local
    left join renewed as r on r.pump_id = l.pump_id
    where l.power_index_mid is not null
        -- twelve weeks are as far back as loading looks
        and not coalesce(r.renewed_day > coalesce(l.since_day, l.day_local - 84), false)
),
week as (
    select
        site_id, pump_id,
        bool_and(state <> 'clean' and 1 - power_index_mid >= limit_share) filter (newest <= $days) as fallen,
        bool_and(1 - power_index_mid >= $fall_share) filter (newest <= $days) as fallen_or_season,
        count(*) as known_days,
        count(*) filter (1 - power_index_mid >= limit_share) as days,
        min(day_local) filter (1 - power_index_mid >= limit_share) as first_day,
        max(day_local) as last_day,
        1 - min(power_index_mid) filter (newest = 1) as fall,
        min(limit_share) filter (newest = 1) as limit_share,
        min(speed_rpm) filter (newest = 1) as speed_rpm,
        min(shape) filter (newest = 1) as shape,
        min(since_day) filter (newest = 1) as since_day,
        min(flow_factor_mid) filter (newest = 1) as flow_factor
    from known
    group by site_id, pump_id
),
found as (
    select
        site_id, pump_id as component, 'found' as verdict, null as needs, first_day, last_day, days,
        fall as measured, limit_share as threshold, 'share of power at the same speed' as unit,
        concat_ws(' ',
            case shape
                when 'ramp' then 'It fell slowly, as a basket or filter loads.'
                when 'step' then 'It fell in a step: a valve, or a basket that filled at once.'
                else 'Power is falling: cleaning or valve, its days cannot tell which.'
            end,
            if(since_day is null, null, format('The last cleaning on record was on {}.', since_day)),
            if(flow_factor is null, null,
                format('By the pump curve about {:.0f} % of the clean flow is left.', 100 * flow_factor))
        ) as extra
    from week
    where known_days >= $days and fallen
),
silent as (
    select
        site_id, pump_id as component, 'cannot tell' as verdict,
        format(
            'power of at least eight pumps on the same days: power at {} rpm fell by {:.0f} %, which the season may do as well',
            speed_rpm, 100 * fall
        ) as needs,
        null::date as first_day, null::date as last_day, null::bigint as days, null::double as measured,
        null::double as threshold, 'share of power at the same speed' as unit, null as extra
    from week
    where known_days >= $days and fallen_or_season and not fallen and limit_share > $fall_share
),
evidence as (
    from found
    union all
    from silent
)
select * from evidence order by site_id, component
