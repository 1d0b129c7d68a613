-- The day's energy by each way that tells it, and whether the two metered ways agree.
-- Grain: one pump and local day of the calendar; columns of account_tables.BALANCE.
-- Inputs: span (tables.SPANS), span_estimate, counter_run (account_tables.COUNTER_RUNS), aux_draw, pump, site,
--   local_day (zone, day_local).
-- Parameters: $pass_share, $most_share, differences up to which a day passes, and is warned of; $covered_share of a
--   counter's run that logged power must cover to be compared; $least_day_share of the day that must be compared for a
--   pass; $idle_w, power of a standing pump above which something else is on its meter [W].
-- Power is compared over the counter's own time. The difference is a share of the greater of the two, so that a counter
-- that stands still shows. The counter's last digit, once for each run, is taken off the difference first; where it
-- alone is above the passing share the day cannot be told. The curve is fitted to the same power, so that it is shown
-- beside them and decides nothing. Power below 0 disqualifies: no meter on a pump sees energy come back.
with days as (
    select pump.site_id, pump.pump_id, local_day.day_local, local_day.day_min
    from pump
    join site using (site_id)
    join local_day on local_day.zone = site.zone
),
run_power as (
    select
        counter_run.pump_id, counter_run.day_local, counter_run.start_utc, counter_run.end_utc,
        any_value(counter_run.counter_kwh) as counter_kwh,
        any_value(counter_run.last_digit_kwh) as last_digit_kwh,
        epoch(counter_run.end_utc - counter_run.start_utc) / 60 as run_min,
        sum(
            epoch(least(span.end_utc, counter_run.end_utc) - greatest(span.start_utc, counter_run.start_utc)) / 60
            order by span.start_utc
        ) as powered_min,
        sum(
            span.energy_kwh
                * epoch(least(span.end_utc, counter_run.end_utc) - greatest(span.start_utc, counter_run.start_utc))
                / epoch(span.end_utc - span.start_utc)
            order by span.start_utc
        ) as power_kwh
    from counter_run
    join span
        on span.pump_id = counter_run.pump_id
        and span.power_w is not null
        and span.end_utc > span.start_utc
        and span.start_utc < counter_run.end_utc
        and span.end_utc > counter_run.start_utc
    group by counter_run.pump_id, counter_run.day_local, counter_run.start_utc, counter_run.end_utc
),
compared as (
    select
        pump_id, day_local,
        sum(counter_kwh order by start_utc) as counter_same_kwh,
        sum(power_kwh order by start_utc) as power_same_kwh,
        sum(last_digit_kwh order by start_utc) as last_digit_kwh,
        sum(run_min order by start_utc) as compared_min
    from run_power
    where powered_min >= $covered_share * run_min
    group by pump_id, day_local
),
counted as (
    select pump_id, day_local, sum(counter_kwh order by start_utc) as counter_kwh
    from counter_run
    group by pump_id, day_local
),
by_day as (
    select
        span.pump_id, span.day_local,
        sum(span.energy_kwh order by span.start_utc) filter (span.power_w is not null) as power_kwh,
        coalesce(sum(span.duration_min order by span.start_utc) filter (span.power_w is not null), 0) as power_min,
        sum(estimate.curve_kwh order by span.start_utc) as curve_kwh,
        sum(span.energy_kwh order by span.start_utc) filter (estimate.curve_kwh is not null) as curve_metered_kwh,
        count(*) filter (estimate.curve_kwh is not null and span.energy_kwh is null) as curve_alone,
        sum(span.energy_kwh order by span.start_utc) filter (span.kind = 'off') as standby_kwh,
        sum(span.duration_min order by span.start_utc) filter (
            span.kind = 'off' and span.energy_kwh is not null
        ) as standby_min,
        sum(span.duration_min order by span.start_utc) filter (
            span.aux_on and span.energy_kwh is not null
        ) as aux_metered_min,
        min(span.power_w) as least_w
    from span
    left join span_estimate as estimate using (pump_id, start_utc)
    group by span.pump_id, span.day_local
),
joined as (
    select
        days.*,
        by_day.* exclude (pump_id, day_local),
        compared.* exclude (pump_id, day_local),
        counted.counter_kwh,
        aux_draw.constant as aux_constant,
        aux_draw.aux_w_lo, aux_draw.aux_w_mid, aux_draw.aux_w_hi,
        by_day.aux_metered_min / 60000 as aux_kh,
        standby_kwh * 60000 / nullif(standby_min, 0) as standby_w,
        greatest(compared.counter_same_kwh, compared.power_same_kwh) as greater_kwh
    from days
    left join by_day using (pump_id, day_local)
    left join compared using (pump_id, day_local)
    left join counted using (pump_id, day_local)
    left join aux_draw using (pump_id)
),
differing as (
    select
        *,
        (power_same_kwh - counter_same_kwh) / nullif(greater_kwh, 0) as difference_share,
        greatest(abs(power_same_kwh - counter_same_kwh) - last_digit_kwh, 0) / nullif(greater_kwh, 0) as excess_share,
        last_digit_kwh / nullif(greater_kwh, 0) as digit_share
    from joined
),
judged as (
    select
        *,
        case
            when least_w < 0 then 'disqualifies'
            when excess_share > $most_share then 'disqualifies'
            when excess_share > $pass_share then 'warns'
            when difference_share is null or digit_share > $pass_share then 'cannot tell'
            when compared_min < $least_day_share * day_min then 'cannot tell'
            else 'pass'
        end as verdict
    from differing
),
worded as (
    select
        *,
        case
            when least_w < 0
                then printf('logged power falls to %.0f W, below 0: never counted as saving; check the meter', least_w)
            when verdict in ('disqualifies', 'warns')
                then printf(
                    'power and counter differ by %.1f %% over the same %.0f minutes (%.2f against %.2f kWh): '
                    || 'check which meter is right',
                    abs(difference_share) * 100, compared_min, power_same_kwh, counter_same_kwh
                )
            when verdict = 'pass' then printf('power and counter agree within %.1f %%', abs(difference_share) * 100)
            when difference_share is not null and digit_share > $pass_share
                then printf(
                    'the counter''s last digit is %.0f %% of the day''s energy, too coarse to check it',
                    digit_share * 100
                )
            when difference_share is not null
                then printf('only %.0f minutes have both power and counter', compared_min)
            when greater_kwh = 0 then 'neither power nor counter moved'
            when power_kwh is not null and counter_kwh is not null then 'power and counter have no time in common'
            when power_kwh is not null then 'logged power alone: no counter to check it by'
            when counter_kwh is not null then 'a counter alone: no logged power to check it by'
            else 'neither logged power nor a counter'
        end as compared_words,
        case
            when aux_kh > 0 and aux_constant
                then printf(
                    '; %.0f W (%.0f to %.0f W) of another device on the same meter taken out while the auxiliary load '
                    || 'is on',
                    aux_w_mid, aux_w_lo, aux_w_hi
                )
            when aux_kh > 0 and aux_w_mid is not null
                then printf(
                    '; about %.0f W (%.0f to %.0f W) of another device on the same meter while the auxiliary load is '
                    || 'on, not constant enough to take out',
                    aux_w_mid, aux_w_lo, aux_w_hi
                )
            else ''
        end as aux_words,
        case
            when standby_w > $idle_w
                then printf(
                    '; %.0f W while the pump stands: something else is on its meter, or the meter has an offset',
                    standby_w
                )
            else ''
        end as standby_words
    from judged
),
balance as (
    select
        site_id, pump_id, day_local,
        power_kwh,
        power_min,
        counter_kwh,
        power_same_kwh,
        counter_same_kwh,
        coalesce(compared_min, 0) as compared_min,
        last_digit_kwh,
        difference_share,
        curve_kwh,
        case when curve_alone = 0 then curve_metered_kwh end as curve_metered_kwh,
        standby_kwh,
        case when aux_constant and aux_kh > 0 then aux_kh * aux_w_lo end as aux_kwh_lo,
        case when aux_constant and aux_kh > 0 then aux_kh * aux_w_mid end as aux_kwh_mid,
        case when aux_constant and aux_kh > 0 then aux_kh * aux_w_hi end as aux_kwh_hi,
        verdict,
        concat(compared_words, aux_words, standby_words) as sentence
    from worded
    order by pump_id, day_local
)
select * from balance
