"""Every table the steps hand to each other: columns, types, units, meaning. The one place where a schema stands.

Belongs here: names and types. How a table is filled belongs to its step. Times are UTC without offset (`_utc`), days
are the site's local days (`day_local`), a unit is a suffix. Estimates come as `_lo`, `_mid`, `_hi`.
"""

from __future__ import annotations

from pumpledger.engine.account_tables import ACCOUNT_TABLES
from pumpledger.engine.clock_tables import CLOCK_TABLES
from pumpledger.engine.followup_tables import FOLLOWUP_TABLES
from pumpledger.engine.proposal_tables import PROPOSAL_TABLES
from pumpledger.engine.savings_tables import (  # noqa: F401  # known by this module's name, too
    DAY_BANDS,
    EXCLUSIONS,
    SAVINGS,
    SAVINGS_BANDS,
    SAVINGS_TABLES,
)
from pumpledger.engine.schema import Table

READINGS = Table(
    "readings",
    "one observation of one pump",
    ("pump_id", "time_utc"),
    {
        "pump_id": ("text", "pump"),
        "time_utc": ("time", "instant, or beginning of the interval that the values describe"),
        "day_local": ("day", "the site's local day of time_utc"),
        "interval_s": (
            "int",
            "length of the interval the values describe [s]; null for an instant or a change of state",
        ),
        "speed_rpm": ("real", "shaft speed [rev/min]; 0 is off"),
        "power_w": ("real", "wire power [W]"),
        "energy_total_kwh": ("real", "cumulative energy counter at time_utc [kWh]"),
        "run_total_h": ("real", "cumulative run-hour counter at time_utc [h]"),
        "flow_m3h": ("real", "metered flow [m3/h]"),
        "aux_on": ("bool", "auxiliary load energised"),
        "air_temperature_c": ("real", "air temperature at the pad [degrees C]"),
        "export_id": ("text", "first 16 hexadecimal digits of the export's SHA-256"),
        "line": ("int", "line of the export, 1-based; the row of a Parquet file, the reading of an XML file"),
    },
)

REFUSED = Table(
    "refused",
    "one data row of an export that is not a reading",
    ("export_id", "line"),
    {
        "export_id": ("text", "first 16 hexadecimal digits of the export's SHA-256"),
        "file": ("text", "name of the export"),
        "line": ("int", "line of the export, 1-based"),
        "pump_id": ("text", "pump, where the row could be read that far"),
        "fate": ("text", "duplicates, quarantine or rejects"),
        "rule": ("text", "stable key of the rule, such as speed_out_of_range"),
        "reason": ("text", "one sentence: what is wrong and what to do"),
        "raw": ("text", "the row as it stands in the export"),
    },
)

SUPERSEDED = Table(
    "superseded",
    "one reading that no longer counts because a later export of its source says otherwise",
    ("pump_id", "time_utc", "old_export_id", "old_line"),
    {
        "pump_id": ("text", "pump"),
        "time_utc": ("time", "instant of both readings"),
        "old_export_id": ("text", "export of the reading that no longer counts"),
        "old_line": ("int", "its line"),
        "new_export_id": ("text", "export of the reading that counts"),
        "new_line": ("int", "its line"),
        "speed_was_rpm": ("real", "speed that was held [rev/min]"),
        "speed_rpm": ("real", "speed that counts [rev/min]"),
        "power_was_w": ("real", "power that was held [W]"),
        "power_w": ("real", "power that counts [W]"),
        "counted": ("bool", "the older reading counted until then; else it was superseded already"),
    },
)

EXPORTS = Table(
    "exports",
    "one file of the inbox",
    ("sequence",),
    {
        "sequence": ("int", "order of arrival in the ledger, from 1"),
        "export_id": (
            "text",
            "first 16 hexadecimal digits of the SHA-256 of the unpacked content; where the file name gives the pump, "
            "of both together",
        ),
        "sha256": ("text", "SHA-256 of the file as it arrived"),
        "file": ("text", "name in the inbox; inside an archive, archive/member"),
        "bytes": ("int", "size [bytes]"),
        "source": ("text", "source of fleet.toml that the file name matched"),
        "dialect": ("text", "dialect it was read by"),
        "status": ("text", "read, set aside, withdrawn, to read again, or repeated (same content as another export)"),
        "problem": ("text", "why it was set aside; empty when read"),
        "data_rows": ("int", "rows that hold data: physical rows less header, preamble, footer and blank lines"),
        "readings": ("int", "of these: readings"),
        "duplicates": ("int", "of these: repeats of a reading already held"),
        "quarantine": ("int", "of these: well-formed rows that a rule refuses"),
        "rejects": ("int", "of these: rows that cannot be read"),
        "other_lines": ("int", "header, preamble, footer and blank lines"),
        "pumps": ("int", "pumps in the readings"),
        "hold_s": ("int", "nominal sample interval: how long the last reading before a gap stands [s]"),
        "gap_limit_s": ("int", "longest time from one reading to the next that still counts as observed [s]"),
        "first_utc": ("time", "first reading"),
        "last_utc": ("time", "last reading"),
    },
)

SPANS = Table(
    "spans",
    "a stretch of one pump at one speed within one local day",
    ("pump_id", "start_utc"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day; spans end at local midnight"),
        "start_utc": ("time", "beginning"),
        "end_utc": ("time", "end"),
        "duration_min": ("real", "length [min]"),
        "start_min": ("real", "minutes elapsed since local midnight at the beginning [min]"),
        "kind": ("text", "run, off or unknown"),
        "cause": (
            "text",
            "plan period, priming, override, freeze protection, auxiliary load (it raises the speed to its minimum), "
            "unexplained, off or unknown",
        ),
        "period": ("int", "plan period 1-3 where the cause is plan period or priming"),
        "planned_speed_rpm": (
            "real",
            "speed the plan in force asks for, by wall clock [rev/min]; 0 off; null no plan on record",
        ),
        "speed_rpm": ("real", "time-weighted mean speed [rev/min], 0 off; null unknown or not logged"),
        "power_w": (
            "real",
            "time-weighted mean of the logged wire power [W]; null where none is logged, also under a counter",
        ),
        "energy_kwh": ("real", "metered energy, from power or counter [kWh]; null not metered or unknown"),
        "flow_m3h": ("real", "time-weighted mean metered flow [m3/h]; null not metered"),
        "aux_on": ("bool", "auxiliary load energised; null not logged"),
        "air_temperature_c": ("real", "mean air temperature of the site's weather station [deg C]; null no station"),
        "readings": ("int", "readings behind the span"),
    },
)

PROFILE = Table(
    "profile",
    "a quarter hour of one pump's local day",
    ("pump_id", "day_local", "quarter"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day of 92, 96 or 100 quarters"),
        "quarter": ("int", "quarters elapsed since local midnight, from 0"),
        "clock_local": ("text", "wall clock at its beginning, HH:MM"),
        "run_min": ("real", "minutes running [min]"),
        "off_min": ("real", "minutes off [min]"),
        "unknown_min": ("real", "minutes unknown [min]"),
        "aux_min": ("real", "minutes with the auxiliary load energised [min]; null not logged"),
        "speed_rpm": ("real", "mean speed over the observed minutes, off counted as 0 [rev/min]; null none observed"),
        "planned_speed_rpm": ("real", "speed of the plan in force [rev/min]; null no plan on record"),
        "energy_kwh": ("real", "metered energy [kWh]; null none metered"),
    },
)

DAILY = Table(
    "daily",
    "one pump's local day",
    ("site_id", "pump_id", "day_local"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day"),
        "day_min": ("real", "length of the day: 1380, 1440 or 1500 [min]"),
        "observed_min": ("real", "minutes known to run or to stand [min]"),
        "run_min": ("real", "minutes running [min]"),
        "longest_gap_min": ("real", "longest unknown stretch [min]"),
        "coverage": ("real", "observed_min / day_min"),
        "energy_coverage": ("real", "share of the day with metered energy"),
        "valid": ("bool", "coverage at least 0.90 and no gap over two hours"),
        "believed": ("bool", "valid, and no data verdict against the pump (units, identity)"),
        "starts": ("int", "starts from standstill"),
        "volume_m3_lo": ("real", "filtered volume, low [m3]; null no flow source"),
        "volume_m3_mid": ("real", "filtered volume [m3]"),
        "volume_m3_hi": ("real", "filtered volume, high [m3]"),
        "volume_source": ("text", "metered, commissioned, curve, or none"),
        "turnovers_lo": ("real", "volume / pool volume, low"),
        "turnovers_mid": ("real", "volume / pool volume"),
        "turnovers_hi": ("real", "volume / pool volume, high"),
        "energy_kwh_lo": ("real", "wire energy, low [kWh]; null no source"),
        "energy_kwh_mid": ("real", "wire energy [kWh]"),
        "energy_kwh_hi": ("real", "wire energy, high [kWh]"),
        "energy_source": (
            "text",
            "metered power, counter, fitted curve, mixed (also: a gap hides a change of speed), or none",
        ),
        "peak_kwh": ("real", "of energy_kwh_mid in bands marked peak [kWh]; null no tariff"),
        "cost": ("real", "energy_kwh_mid by tariff band [currency]; null no tariff"),
        "aux_min": ("real", "minutes with the auxiliary load energised [min]; null not logged"),
    },
)

FINDINGS = Table(
    "findings",
    "one explained departure of one site",
    ("site_id", "rank", "rule_id", "component"),
    {
        "site_id": ("text", "site; empty for a finding about a whole source"),
        "rule_id": ("text", "catalogue identifier such as A1"),
        "component": ("text", "pump_id or export that it is about"),
        "name": ("text", "plain name"),
        "verdict": ("text", "found, or cannot tell"),
        "severity": ("text", "safety, this week, next visit, note or data"),
        "rank": ("int", "order within the site, 1 is the headline"),
        "explained_by": ("text", "rule_id of the finding that explains it; empty for its own"),
        "first_day": ("day", "first local day of the evidence"),
        "last_day": ("day", "last local day of the evidence"),
        "days": ("int", "local days with evidence"),
        "measured": ("real", "the number that was compared"),
        "threshold": ("real", "what it was compared with"),
        "unit": ("text", "unit of both"),
        "sentence": ("text", "what happens, for the manager"),
        "instruction": ("text", "what to do, for the technician"),
        "caution": ("text", "safety caution to print; empty if none"),
        "benefit_kwh_week": ("real", "energy the fix saves in a week [kWh]; null unknown or none"),
        "benefit_money_week": ("real", "money the fix saves in a week [currency]; null no tariff"),
        "probability": ("real", "how likely the finding is true, 0-1, a starting value per rule"),
        "work_min": ("real", "minutes of work at the site, a starting value per rule [min]"),
        "standing_since": ("day", "since when it has stood from week to week without closing; null not found"),
        "in_sight": ("bool", "seen in this week's days; false: it stands on because too few clear days have passed"),
        "comes_and_goes": ("bool", "opened or closed three times or more in the last five reviews"),
    },
)

SITE_WEEKS = Table(
    "site_weeks",
    "one site's week, the fleet roll-up",
    ("site_id",),
    {
        "site_id": ("text", "site"),
        "reporting": ("bool", "at least one reading in the week"),
        "believable": ("bool", "at least five believed days for every pump"),
        "doubt": ("text", "why it is not believable; empty when it is"),
        "valid_days": ("int", "local days on which every pump is valid and believed"),
        "coverage": ("real", "observed share of the week"),
        "turnovers_lo": ("real", "mean per believed day, low; null cannot tell"),
        "turnovers_mid": ("real", "mean per believed day"),
        "turnovers_hi": ("real", "mean per believed day, high"),
        "required_turnovers": ("real", "per day, from the register; null not entered"),
        "energy_kwh_lo": ("real", "wire energy of the week, low [kWh]"),
        "energy_kwh_mid": ("real", "wire energy of the week [kWh]"),
        "energy_kwh_hi": ("real", "wire energy of the week, high [kWh]"),
        "cost": ("real", "money of the week [currency]; null no tariff"),
        "best_plan_kwh": ("real", "energy of the site's own simple best plan over a week [kWh]; null none"),
        "best_plan_cost": ("real", "its cost over a week [currency]; null none"),
        "baseline_kwh": ("real", "single-speed baseline over the counted days [kWh]; null none recorded"),
        "counted_days": ("int", "days that enter the savings"),
        "raw_kwh_lo": ("real", "raw saving over the counted days, low [kWh]"),
        "raw_kwh_mid": ("real", "raw saving over the counted days [kWh]"),
        "raw_kwh_hi": ("real", "raw saving over the counted days, high [kWh]"),
        "equal_kwh_lo": ("real", "equal-volume saving over the counted days, low [kWh]"),
        "equal_kwh_mid": ("real", "equal-volume saving over the counted days [kWh]"),
        "equal_kwh_hi": ("real", "equal-volume saving over the counted days, high [kWh]"),
    },
)

DOUBTS = Table(
    "doubts",
    "why the data of one pump is not believed",
    ("site_id", "pump_id"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "doubt": ("text", "one phrase"),
    },
)

CHECKS = Table(
    "checks",
    "one expectation on one table of the week",
    ("suite", "meaning", "expectation"),
    {
        "suite": ("text", "name of the suite in expectations/"),
        "expectation": ("text", "type of the expectation"),
        "meaning": ("text", "what must be true"),
        "critical": ("bool", "a failure sets the file or site aside"),
        "success": ("bool", "it held"),
        "observed": ("text", "what was seen"),
        "failing": ("text", "rows that fail it, separated by semicolons"),
    },
)

NOTES = Table(
    "notes",
    "a curve or a reading of the register that the week's numbers do without",
    ("file", "line", "sentence"),
    {
        "name": ("text", "stable key"),
        "sentence": ("text", "what is wrong and what to do"),
        "file": ("text", "file of the register"),
        "line": ("int", "line, where it is known"),
        "site_id": ("text", "site that it concerns"),
    },
)

SPEED_GRID = Table(
    "speed_grid",
    "one pump at one speed of the 25 rpm grid, 0 to its full speed",
    ("pump_id", "speed_rpm"),
    {
        "pump_id": ("text", "pump"),
        "speed_rpm": ("int", "grid speed: 0, 25, 50 ... [rev/min]"),
        "flow_m3h_lo": ("real", "flow, low [m3/h]; null no flow source"),
        "flow_m3h_mid": ("real", "flow [m3/h]"),
        "flow_m3h_hi": ("real", "flow, high [m3/h]"),
        "flow_source": ("text", "commissioned, visit reading, gauges, curve, pipe default, or none"),
        "power_w_lo": ("real", "wire power, low [W]; null no source or outside the speeds fitted"),
        "power_w_mid": ("real", "wire power [W]"),
        "power_w_hi": ("real", "wire power, high [W]"),
        "power_source": ("text", "fitted to readings or to visit points, nameplate points, stated efficiency, or none"),
    },
)

BEST_PLANS = Table(
    "best_plans",
    "the simple best plan of one pump, where one may be given",
    ("pump_id",),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "speed_rpm": ("int", "speed to key in [rev/min]; null none may be given"),
        "start_local": ("text", "HH:MM"),
        "stop_local": ("text", "HH:MM"),
        "hours": ("real", "running time a day [h]"),
        "faster_rpm": ("int", "speed of a part of it, for skimming [rev/min]; null none"),
        "faster_hours": ("real", "length of that part [h]; null none"),
        "energy_kwh_day": ("real", "wire energy a day [kWh]"),
        "cost_day": ("real", "money a day, mean over a week [currency]; null no tariff"),
        "turnovers_lo": ("real", "turnovers a day by the low flow bound"),
        "withheld": ("text", "why no plan is given; empty when one is"),
    },
)

VERDICTS = Table(
    "verdicts",
    "one doubt about what a source or a pump's log says, as seen in one week",
    ("source", "mode", "pump_id", "quantity"),
    {
        "verdict_id": (
            "text",
            "stable short name: v- and 8 hexadecimal digits of mode, source, pump, quantity, remedy",
        ),
        "source": ("text", "source of fleet.toml"),
        "mode": ("text", "catalogue identifier such as B4"),
        "pump_id": ("text", "pump; empty for the whole source"),
        "quantity": ("text", "speed, power, energy_total, run_total, flow, air_temperature, time or identity"),
        "sentence": ("text", "what the data say, for people"),
        "evidence": ("text", "the numbers that it rests on"),
        "sureness": ("real", "share of the evidence that speaks for it [0-1]"),
        "blocks": ("bool", "the pumps' numbers are not believed until it is decided"),
        "remedy": ("text", "the correction that would cure it, such as power x1000; empty: none, or it is automatic"),
        "state": ("text", "open, confirmed, refused, or applied (dealt with by itself, to be known)"),
        "pumps": ("int", "pumps that it touches"),
        "first_day": ("day", "first day seen"),
        "last_day": ("day", "last day seen"),
    },
)

ALL = (READINGS, REFUSED, SUPERSEDED, EXPORTS, SPANS, PROFILE, DAILY, *SAVINGS_TABLES, FINDINGS,
       SITE_WEEKS, DOUBTS, CHECKS, NOTES, SPEED_GRID, BEST_PLANS, VERDICTS, *ACCOUNT_TABLES,
       *CLOCK_TABLES, *FOLLOWUP_TABLES, *PROPOSAL_TABLES)  # fmt: skip
