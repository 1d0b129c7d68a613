"""Tables of curves, balance, money and efficiency: what stands behind the flow, the energy and the savings of a review.

Belongs here: names and types, as in `tables.py`, which lists these with its own in ``ALL``.
"""

from __future__ import annotations

from pumpledger.engine.schema import Table

CURVES = Table(
    "curves",
    "one pump: where its flow and its wire power at a speed come from",
    ("pump_id",),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "flow_source": ("text", "commissioned, visit reading, gauges, curve, pipe default, or none"),
        "flow_method": ("text", "how the flow's interval is made: first-order, Monte Carlo, or none"),
        "flow_basis": ("text", "in words: what the flow rests on, or what is missing"),
        "flow_metered": ("bool", "a flow meter in the log goes first"),
        "flow_lowest_rpm": ("real", "lowest running speed with a flow [rev/min]; null none"),
        "flow_highest_rpm": ("real", "highest speed with a flow [rev/min]; null none"),
        "static_head_m": ("real", "height the water is lifted [m]; null none recorded"),
        "friction": ("real", "friction coefficient of the system [m/(m3/h)2]; null unknown"),
        "zero_flow_speed_rpm": ("real", "speed up to which the pump turns and moves no water; null no static head"),
        "power_source": ("text", "fitted to readings or to visit points, nameplate points, stated efficiency, or none"),
        "power_basis": ("text", "in words: what the power rests on, or what is missing"),
        "base_w": ("real", "constant part of the fit [W]; null no fit"),
        "factor_w": ("real", "power above the constant at 1000 rpm [W]"),
        "exponent": ("real", "fitted exponent of speed"),
        "exponent_lo": ("real", "exponent, low; null too few points to tell"),
        "exponent_hi": ("real", "exponent, high; null too few points to tell"),
        "lowest_rpm": ("real", "lowest speed behind the fit; nothing is given below [rev/min]"),
        "highest_rpm": ("real", "highest speed behind the fit [rev/min]"),
    },
)

EFFICIENCY = Table(
    "efficiency",
    "one pump at one speed that it held steadily",
    ("pump_id", "speed_rpm"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "speed_rpm": ("int", "speed, to 25 rpm [rev/min]"),
        "run_min": ("real", "minutes at this speed over two weeks, priming left out [min]"),
        "longest_min": ("real", "longest single stretch of them [min]"),
        "flow_m3h_lo": ("real", "flow, low [m3/h]; null no flow source"),
        "flow_m3h_mid": ("real", "flow [m3/h]"),
        "flow_m3h_hi": ("real", "flow, high [m3/h]"),
        "flow_source": ("text", "metered, or the source of speed_grid, or none"),
        "power_w_lo": ("real", "wire power, low [W]; null no source"),
        "power_w_mid": ("real", "wire power [W]"),
        "power_w_hi": ("real", "wire power, high [W]"),
        "power_source": ("text", "metered, or the source of speed_grid, or none"),
        "head_m": ("real", "total head of the pump's own curve at this speed and flow [m]; null no curve"),
        "energy_factor_m3kwh_lo": ("real", "volume per wire energy, low [m3/kWh]; null unknown or withheld"),
        "energy_factor_m3kwh_mid": ("real", "volume per wire energy [m3/kWh]"),
        "energy_factor_m3kwh_hi": ("real", "volume per wire energy, high [m3/kWh]"),
        "wire_to_water_lo": ("real", "hydraulic power / wire power, low; null unknown or withheld"),
        "wire_to_water_mid": ("real", "hydraulic power / wire power"),
        "wire_to_water_hi": ("real", "hydraulic power / wire power, high"),
        "gate": ("text", "plausible, suspect, refused, or cannot tell"),
        "sentence": ("text", "why it is not plausible and what to check; empty when it is"),
    },
)

EFFICIENCY_RECORD = Table(
    "efficiency_record",
    "one pump's efficiency record",
    ("pump_id",),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "best_state": ("text", "given, or why there is no best sustained energy factor"),
        "best_speed_rpm": ("int", "speed of the best sustained energy factor [rev/min]"),
        "best_longest_min": ("real", "longest stretch at that speed [min]"),
        "best_factor_m3kwh_lo": ("real", "best sustained energy factor, low [m3/kWh]"),
        "best_factor_m3kwh_mid": ("real", "best sustained energy factor [m3/kWh]"),
        "best_factor_m3kwh_hi": ("real", "best sustained energy factor, high [m3/kWh]"),
        "standby_w": ("real", "median logged power of the pump at rest [W]; null not logged, and then counted as 0"),
        "knee_state": ("text", "given, or why there is no knee speed"),
        "knee_speed_rpm_lo": ("int", "knee speed by the end of the flow band that puts it lowest [rev/min]"),
        "knee_speed_rpm_mid": ("int", "speed below which slower costs more per litre [rev/min]"),
        "knee_speed_rpm_hi": ("int", "knee speed by the end of the flow band that puts it highest [rev/min]"),
        "weighted_state": ("text", "given, or which input of the weighted energy factor is missing"),
        "curve_c_flow_m3h": ("real", "flow at full speed on system curve C, by the pump's own curve [m3/h]"),
        "curve_c_hp": ("real", "hydraulic power there [hp]"),
        "low_flow_m3h": ("real", "least flow of the method's low test point [m3/h]"),
        "low_speed_rpm": ("int", "lowest speed that gives it on the pump's own system [rev/min]"),
        "high_flow_m3h": ("real", "least flow of the method's high test point [m3/h]"),
        "high_speed_rpm": ("int", "lowest speed that gives it on the pump's own system [rev/min]"),
        "weighted_factor_m3kwh_lo": ("real", "weighted energy factor on the pump's own system, low [m3/kWh]"),
        "weighted_factor_m3kwh_mid": ("real", "weighted energy factor on the pump's own system [m3/kWh]"),
        "weighted_factor_m3kwh_hi": ("real", "weighted energy factor on the pump's own system, high [m3/kWh]"),
    },
)

LEVELS = Table(
    "levels",
    "one pump's logged power at one speed on one local day",
    ("pump_id", "day_local", "speed_rpm"),
    {
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day"),
        "speed_rpm": ("int", "speed, to 25 rpm [rev/min]"),
        "power_w": ("real", "time-weighted mean of the logged power, priming and auxiliary load left out [W]"),
        "run_min": ("real", "minutes at this speed [min]"),
    },
)

COUNTER_RUNS = Table(
    "counter_runs",
    "an unbroken run of one energy counter within one local day",
    ("pump_id", "start_utc", "end_utc"),
    {
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day in which it begins"),
        "start_utc": ("time", "first reading of the run"),
        "end_utc": ("time", "last reading of the run; at most one step past local midnight"),
        "counter_kwh": ("real", "rise of the counter [kWh]"),
        "last_digit_kwh": ("real", "finest step that the counter's values show [kWh]"),
    },
)

LOADING = Table(
    "loading",
    "the filter of one pump on one local day, as its power at one speed tells it",
    ("pump_id", "day_local"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day"),
        "state": ("text", "clean, loading, or cannot tell"),
        "since_day": ("day", "last cleaning or backwash on record; null where none within the log that is read"),
        "days": ("int", "days with power at a held speed since then"),
        "speed_rpm": ("int", "speed that carries most of the comparison [rev/min]; null none"),
        "power_index_lo": ("real", "power against the reference at the same speed, freed of season, low; null unknown"),
        "power_index_mid": ("real", "power against the reference at the same speed, freed of season"),
        "power_index_hi": ("real", "power against the reference at the same speed, freed of season, high"),
        "season_share": ("real", "what the fleet did in common since the reference, taken out; null too few pumps"),
        "flow_factor_lo": ("real", "what the flow of the speed grid is multiplied by, low, at most 1; null none given"),
        "flow_factor_mid": ("real", "what the flow of the speed grid is multiplied by"),
        "flow_factor_hi": ("real", "what the flow of the speed grid is multiplied by, high"),
        "shape": ("text", "step, ramp or cannot tell; empty where nothing falls"),
        "basis": ("text", "in words: what is known, and what is missing"),
    },
)

BALANCE = Table(
    "balance",
    "one pump's local day: its energy by each way that tells it",
    ("pump_id", "day_local"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day"),
        "power_kwh": ("real", "integrated logged power of the day [kWh]; null not logged"),
        "power_min": ("real", "minutes behind it [min]"),
        "counter_kwh": ("real", "rise of the energy counter [kWh]; null no counter"),
        "power_same_kwh": ("real", "integrated power over the time that is compared [kWh]; null nothing to compare"),
        "counter_same_kwh": ("real", "rise of the counter over the same time [kWh]"),
        "compared_min": ("real", "length of that time [min]"),
        "last_digit_kwh": ("real", "last digit of the counter, once for each of its runs [kWh]"),
        "difference_share": ("real", "power less counter over the same time, share of the greater"),
        "curve_kwh": ("real", "running time by the power curve [kWh]; null no curve at any speed of the day"),
        "curve_metered_kwh": ("real", "metered energy of the same time [kWh]; null not metered throughout"),
        "standby_kwh": (
            "real",
            "metered energy while the pump stands, part of the day's energy [kWh]; null not metered",
        ),
        "aux_kwh_lo": ("real", "energy of another device on the meter that was taken out, low [kWh]; null none"),
        "aux_kwh_mid": ("real", "energy of another device on the meter that was taken out [kWh]"),
        "aux_kwh_hi": ("real", "energy of another device on the meter that was taken out, high [kWh]"),
        "verdict": ("text", "pass, warns, disqualifies, or cannot tell"),
        "sentence": ("text", "why, and what else is on the meter"),
    },
)

FLEET_SAVINGS = Table(
    "fleet_savings",
    "one part of the uncertainty of one sum over the fleet's week, or the sum itself",
    ("quantity", "place"),
    {
        "quantity": ("text", "energy, raw saving or equal-volume saving"),
        "place": ("int", "0 the sum; from 1 its parts, the widest first, the sites' own last"),
        "part": ("text", "total, a cause that sites share, or each site's own"),
        "sites": ("int", "sites behind it"),
        "site_days": ("int", "site-days behind the sum; null for a part"),
        "lo_kwh": ("real", "the sum, low [kWh]; null for a part"),
        "mid_kwh": ("real", "the sum [kWh]; null for a part"),
        "hi_kwh": ("real", "the sum, high [kWh]; null for a part"),
        "below_kwh": ("real", "how far it may fall short through this part [kWh]"),
        "above_kwh": ("real", "how far it may pass through this part [kWh]"),
        "sentence": ("text", "of the sum: where its uncertainty comes from; of a part: how it was added"),
    },
)

ACCOUNT_TABLES = (CURVES, LEVELS, COUNTER_RUNS, LOADING, BALANCE, EFFICIENCY, EFFICIENCY_RECORD, FLEET_SAVINGS)
