-- Why a site's local day is no saving: every reason, the first one being what savings says.
-- Grain: one site, local day and reason; columns of tables.EXCLUSIONS.
-- Inputs: savings_day.
-- Parameters: $least_coverage as in daily.sql, for wording.
-- Columns with units: tables.EXCLUSIONS.
-- Equal service is a rule: a day whose upper bound of volume falls short of what is required is out. A day that may or
-- may not have reached it stays in, and savings marks it as service not shown.
-- Minutes short: how much longer the pump would have had to run at the most it moved in its running minutes.
with listed as (
    select
        *,
        unnest([
            {'place': 1, 'applies': struck_reason is not null,
                'kind': if(idle_min is null, 'meters disagree', 'stood still'), 'minutes': idle_min,
                'reason': struck_reason},
            {'place': 2, 'applies': dry_min is not null, 'kind': 'ran dry', 'minutes': dry_min,
                'reason': printf(
                    'pump %s ran %d minutes at about half the power its speed takes, or less: dry, or air at the strainer',
                    dry_pumps, cast(round(dry_min) as integer)
                )},
            {'place': 3, 'applies': season = 'closed', 'kind': 'closed', 'minutes': day_min,
                'reason': 'closed for the season'},
            {'place': 4, 'applies': unproved, 'kind': 'no baseline', 'minutes': null,
                'reason': printf('no evidence recorded for the baseline of pump %s', unproved_pumps)},
            {'place': 5, 'applies': not unproved and baseline_kwh is null, 'kind': 'no baseline', 'minutes': null,
                'reason': 'no baseline recorded for every pump'},
            {'place': 6, 'applies': coverage < $least_coverage, 'kind': 'lost coverage', 'minutes': unknown_min,
                'reason': printf(
                    '%d %% of the day observed, %d %% needed',
                    cast(floor(coverage * 100) as integer), cast(round($least_coverage * 100) as integer)
                )},
            {'place': 7, 'applies': coverage >= $least_coverage and not valid, 'kind': 'lost coverage',
                'minutes': longest_gap_min,
                'reason': printf('a gap of %d minutes', cast(ceil(longest_gap_min) as integer))},
            {'place': 8, 'applies': valid and not believed, 'kind': 'in doubt', 'minutes': day_min,
                'reason': 'the data of a pump are in doubt'},
            {'place': 9, 'applies': believed and measured_kwh is null, 'kind': 'energy unknown', 'minutes': null,
                'reason': 'energy unknown: no meter and no fitted power curve'},
            {'place': 10, 'applies': believed and baseline_equal_kwh is null and volume_m3_hi is null,
                'kind': 'volume unknown', 'minutes': null, 'reason': 'volume unknown: no flow source'},
            {'place': 11,
                'applies': believed and baseline_kwh is not null and baseline_equal_kwh is null
                    and volume_m3_hi is not null,
                'kind': 'no baseline', 'minutes': null,
                'reason': 'no baseline flow: no flow recorded and none by the curve at full speed'},
            {'place': 12,
                'applies': (believed or not valid) and required_turnovers is not null
                    and turnovers_hi < required_turnovers,
                'kind': 'filtered too little',
                'minutes': case when volume_m3_hi > 0 then (required_m3 - volume_m3_hi) * run_min / volume_m3_hi end,
                'reason': printf(
                    'filtered at most %.2f turnovers of %.2f required', turnovers_hi, required_turnovers
                )},
            {'place': 13,
                'applies': (believed or not valid) and required_turnovers is null
                    and volume_m3_hi < baseline_volume_m3,
                'kind': 'filtered too little',
                'minutes': case when volume_m3_hi > 0 then (required_m3 - volume_m3_hi) * run_min / volume_m3_hi end,
                'reason': 'no required turnovers entered, and filtered less than the baseline did'}
        ]) as item
    from savings_day
),
exclusions as (
    select
        site_id, day_local, item.place as place, item.kind as kind, item.reason as reason,
        cast(item.minutes as double) as minutes,
        day_min as excluded_min
    from listed
    where item.applies
    order by site_id, day_local, place
)
select * from exclusions
