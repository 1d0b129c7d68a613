"""The tables of a claim's document: measured, stipulated and computed in columns of their own.

Belongs here: one function a table, from the frames of `ClaimData`. Units as the fleet reads them; energy in kWh to the
watt-hour. What is said around them belongs to `packet_sections.py`.
"""

from __future__ import annotations

import polars as pl

from pumpledger.claims.blocks import DASH, Block, heads, kwh, number, para, percent, sentence, table
from pumpledger.claims.data import ClaimData, Interval
from pumpledger.claims.pictures import plan_day
from pumpledger.units import for_people

_AS = {"found": "As found", "changed": "Changed in the period", "left": "As left"}


def sufficiency(claim: ClaimData) -> str:
    """How many days the totals rest on, and whether that is enough."""
    totals = claim.totals
    days = f"{number(totals.counted_days)} of {number(totals.days)} days ({percent(totals.share)}) enter the totals."
    return f"{days} {sentence(totals.sufficiency)}".strip()


def shown(claim: ClaimData, value: float | None, name: str, decimals: int = 1) -> str:
    """A quantity of the register in the fleet's units, without the unit."""
    return number(for_people(value, name, claim.units)[0], decimals)  # type: ignore[arg-type]


def unit(claim: ClaimData, name: str) -> str:
    return for_people(None, name, claim.units)[1]  # type: ignore[arg-type]


def ready(claim: ClaimData) -> Block:
    marks = {"met": "met", "missing": "MISSING", "doubtful": "in doubt"}
    rows = [
        (r["requirement"], marks[r["state"]], sentence(r["sentence"]), r["fix"] or DASH)
        for r in claim.ready.iter_rows(named=True)
    ]
    return table("What a reviewer asks for", heads("Requirement|w3", "State", "What is there|w6", "Mended in|w4"), rows)


def equipment(claim: ClaimData) -> list[Block]:
    """Site and pumps as the register has them, without names."""
    rows = [(_words(name), _value(value)) for name, value in claim.site.items() if value is not None]
    made = [table("Site, as entered in the register (SI units)", heads("Field|w2", "Value|w5"), rows)]
    for pump in claim.pumps.iter_rows(named=True):
        held = [(_words(name), _value(value)) for name, value in pump.items() if value not in (None, "")]
        made.append(table(f"Pump {pump['pump_id']}, as entered (SI units)", heads("Field|w2", "Value|w5"), held))
    return made


def baseline(claim: ClaimData) -> Block:
    counted = claim.days.filter(pl.col("state") == "counted")
    rows = [
        (
            "Baseline energy of the counted days",
            kwh(_sum(counted, "measured_baseline_kwh")),
            kwh(_sum(counted, "stipulated_baseline_kwh")),
            kwh(_sum(counted, "baseline_equal_kwh")),
        )
    ]
    columns = heads(
        "Quantity|w", "Metered power, kWh|n|measured", "By record, kWh|n|stipulated", "At equal volume, kWh|n|computed"
    )
    return table("Baseline", columns, rows)


def stipulated(claim: ClaimData) -> Block:
    rows = [
        (
            r["name"] + (f" ({r['pump_id']})" if r["pump_id"] else ""),
            f"{number(r['value'], 3).rstrip('0').rstrip('.')} {r['unit']}".strip(),
            r["source"] or DASH,
            kwh(r["effect_kwh"]),
            percent(r["effect_share"]),
        )
        for r in claim.stipulated.iter_rows(named=True)
    ]
    columns = heads(
        "Value|w3", "As taken|w2|stipulated", "Source|w4|stipulated", "10 %, kWh|n|computed", "Share|n|computed",
    )  # fmt: skip
    return table("Stipulated values, and how far 10 % of each, either way, moves the raw saving", columns, rows)


def totals(claim: ClaimData) -> Block:
    """Every total of the claim, to the watt-hour."""
    found, money = claim.totals, claim.currency
    peak = f"{number(found.peak_days)} days"
    rows = [
        ("Energy used, kWh", kwh(found.measured_kwh), "", kwh(found.computed_kwh), kwh(found.energy_kwh), ""),
        ("Baseline, kWh", *_baseline_parts(claim), kwh(found.baseline_kwh), ""),
        _total("Raw saving, kWh", found.raw, 3),
        _total(f"Saving at equal volume, kWh ({number(found.equal_days)} days)", found.equal, 3),
        _total(f"Raw saving, {money} ({number(found.money_days)} days)", found.raw_money, 2),
        _total(f"Saving at equal volume, {money}", found.equal_money, 2),
        (f"Power over the peak, kW ({peak})", number(found.measured_peak_kw, 3), "", "", "", ""),
        (f"Former pump over the peak, kW ({peak})", "", number(found.baseline_peak_kw, 3), "", "", ""),
    ]  # fmt: skip
    columns = heads(
        "Counted days of the period|w", "Metered|n|measured", "By record|n|stipulated", "By curve|n|computed",
        "Total|n|computed", "90 % interval|n|computed",
    )  # fmt: skip
    return table("Totals", columns, rows)


def _baseline_parts(claim: ClaimData) -> tuple[str, str, str]:
    counted = claim.days.filter(pl.col("state") == "counted")
    return kwh(_sum(counted, "measured_baseline_kwh")), kwh(_sum(counted, "stipulated_baseline_kwh")), ""


def _total(name: str, found: Interval | None, decimals: int) -> tuple[str, ...]:
    if found is None:
        return (name, "", "", "", "cannot be told", "")
    return (
        name, "", "", "", number(found.mid, decimals), f"{number(found.lo, decimals)} to {number(found.hi, decimals)}"
    )  # fmt: skip


def months(claim: ClaimData) -> Block:
    rows = [
        (
            r["month"],
            f"{r['counted_days']} of {r['days']}",
            percent(r["coverage"]),
            kwh(r["energy_kwh"]),
            kwh(r["baseline_kwh"]),
            kwh(r["raw_kwh"]),
            kwh(r["equal_kwh"]),
        )
        for r in claim.months.iter_rows(named=True)
    ]
    sums = [_sum(claim.months, name) for name in ("energy_kwh", "baseline_kwh", "raw_kwh", "equal_kwh")]
    days = f"{claim.months['counted_days'].sum()} of {claim.months['days'].sum()}"
    rows.append(("Period", days, "", *map(kwh, sums)))
    columns = heads(
        "Month|w", "Days counted|n", "Minutes known|n|measured", "Energy|n|computed", "Baseline|n|computed",
        "Raw saving|n|computed", "Equal volume|n|computed",
    )  # fmt: skip
    return table("Month by month, counted days, energy in kWh", columns, rows, total=True)


def programme_results(claim: ClaimData) -> list[Block]:
    """What the programme's own formulas give; a plain sentence where no programme file was supplied."""
    if claim.programme is None:
        return [para("Programme parameters not supplied: no programme claim is made.")]
    rows = [
        (
            r.name,
            number(r.value, 5),
            r.unit,
            " ".join(sentence(text) for text in (r.sentence, r.capped) if text) or DASH,
        )
        for r in claim.programme_results
    ]
    return [
        table("By the programme's formulas", heads("Formula|w3", "Result|n|computed", "Unit|w2", "Remark|w4"), rows)
    ]


def confidence(claim: ClaimData) -> Block:
    found = claim.totals
    rows = [
        ("Raw saving", percent(found.uncertainty_68), percent(found.uncertainty_90)),
        ("Saving at equal volume", percent(found.equal_uncertainty_68), percent(found.equal_uncertainty_90)),
    ]
    columns = heads("Half-width as a share of the saving|w", "At 68 %|n|computed", "At 90 %|n|computed")
    return table("Confidence", columns, rows)


def uncertainty(claim: ClaimData) -> Block:
    rows = [
        (
            r["quantity"],
            r["term"],
            r["kind"] + (f": {r['shared']}" if r["shared"] else ""),
            kwh(r["below_kwh"]),
            kwh(r["above_kwh"]),
        )
        for r in claim.uncertainty.iter_rows(named=True)
    ]
    columns = heads("Quantity|w2", "Term|w2", "Kind|w3", "Below, kWh|n|computed", "Above, kWh|n|computed")
    return table("Terms of the 90 % interval, widest first", columns, rows)


def exclusions(claim: ClaimData) -> Block:
    rows = [
        (str(r["day_local"]), r["kind"], r["reason"], number(r["minutes"]), number(r["excluded_min"]))
        for r in claim.exclusions.iter_rows(named=True)
    ]
    columns = heads("Day", "Kind|w2", "Reason|w4", "Minutes behind|n|measured", "Minutes left out|n|computed")
    return table("Days left out, with every reason", columns, rows)


def power_by_speed(claim: ClaimData) -> Block:
    rows = [
        (
            r["pump_id"], number(r["speed_rpm"]), number(r["days"]), number(r["run_min"]),
            number(r["power_w_median"], 1),
            DASH if r["power_w_lo"] is None else f"{number(r['power_w_lo'], 1)} to {number(r['power_w_hi'], 1)}",
        )
        for r in claim.power_by_speed.iter_rows(named=True)
    ]  # fmt: skip
    columns = heads(
        "Pump|w", "Speed, rpm|n|measured", "Days|n|measured", "Minutes|n|measured", "Median power, W|n|measured",
        "90 % interval, W|n|computed",
    )  # fmt: skip
    return table("Power at each speed", columns, rows)


def hours_by_speed(claim: ClaimData) -> Block:
    rows = [
        (
            r["pump_id"], r["month"],
            "not known" if r["speed_rpm"] is None else "off" if r["speed_rpm"] == 0 else number(r["speed_rpm"]),
            number(r["hours"], 2),
        )
        for r in claim.hours_by_speed_month.iter_rows(named=True)
    ]  # fmt: skip
    return table("Hours at each speed", heads("Pump|w", "Month", "Speed, rpm|n|measured", "Hours|n|measured"), rows)


def balance(claim: ClaimData) -> Block:
    rows = [
        (
            str(r["day_local"]), r["pump_id"], kwh(r["power_kwh"]), kwh(r["counter_kwh"]), kwh(r["difference_kwh"]),
            percent(r["difference_share"]), r["verdict"],
        )
        for r in claim.balance.iter_rows(named=True)
        if r["verdict"] != "cannot tell"
    ]  # fmt: skip
    if not rows:
        return para("No pump of the site has both logged power and an energy counter: the balance cannot be told.")
    columns = heads(
        "Day", "Pump|w", "By power, kWh|n|measured", "By counter, kWh|n|measured", "Difference, kWh|n|computed",
        "Share|n|computed", "Verdict",
    )  # fmt: skip
    return table("Energy balance, days that can be compared", columns, rows)


def plans(claim: ClaimData) -> list[Block]:
    """Each plan as a picture and in words."""
    made: list[Block] = []
    for kind in _AS:
        held = claim.plans.filter(pl.col("as") == kind)
        for (pump, since), rows in held.group_by("pump_id", "valid_from", maintain_order=True):
            periods = list(rows.select("period", "speed_rpm", "start_min", "stop_min").iter_rows())
            made.append(plan_day(f"{_AS[kind]}, pump {pump}, keyed in {since}", periods))
    return made or [para("No plan is on record.")]


def visits(claim: ClaimData) -> Block:
    rows = [
        (
            str(r["day_local"]), r["pump_id"] or DASH, r["work"], number(r["speed_rpm"]),
            shown(claim, r["flow_m3h"], "flow"), number(r["power_w"]),
        )
        for r in claim.visits.iter_rows(named=True)
    ]  # fmt: skip
    flow = f"Flow read, {unit(claim, 'flow')}|n|measured"
    return table(
        "Visits up to the last day",
        heads("Day", "Pump", "Work|w", "Speed, rpm|n|measured", flow, "Power read, W|n|measured"),
        rows,
    )


def formulas(claim: ClaimData) -> Block:
    rows = [
        (
            r["formula"] + (" (the programme pays by this)" if r["claimed"] else ""),
            r["expression"], r["source"] or DASH,
            "cannot be told" if r["result"] is None else f"{number(r['result'], 3)} {r['unit']}",
        )
        for r in claim.method.iter_rows(named=True)
        if not r["parameter"]
    ]  # fmt: skip
    return table("Formulas", heads("Name|w2", "Formula|w4", "Source|w3", "Gives|w2|n|computed"), rows)


def parameters(claim: ClaimData) -> Block:
    rows = [
        (r["formula"], r["parameter"], r["value"], r["source"] or DASH)
        for r in claim.method.iter_rows(named=True)
        if r["parameter"]
    ]
    return table("Parameters", heads("Formula|w3", "Parameter|w2", "Value|w3", "Source|w3"), rows)


def exports(claim: ClaimData) -> Block:
    rows = [
        (
            r["file"], r["sha256"][:32] + " " + r["sha256"][32:],
            number(r["data_rows"]), number(r["readings"]), str(r["first_utc"])[:16], str(r["last_utc"])[:16],
        )
        for r in claim.exports.iter_rows(named=True)
    ]  # fmt: skip
    return table(
        "Exports, as received (times in UTC)",
        heads("File|w2", "SHA-256|w3", "Rows|n", "Readings|n", "First", "Last"),
        rows,
    )


def versions(claim: ClaimData) -> Block:
    return table("Versions", heads("What|w2", "Version or digest|w4"), sorted(claim.versions.items()))


def days(claim: ClaimData) -> Block:
    rows = [
        (
            str(r["day_local"]), r["state"], percent(r["coverage"], 0), kwh(r["measured_kwh"]),
            kwh(r["measured_baseline_kwh"]), kwh(r["stipulated_baseline_kwh"]), kwh(r["computed_kwh"]),
            kwh(r["raw_kwh_mid"]), kwh(r["equal_kwh_mid"]),
        )
        for r in claim.days.iter_rows(named=True)
    ]  # fmt: skip
    columns = heads(
        "Day", "State|w", "Known|n|measured", "Energy|n|measured", "Baseline|n|measured", "Baseline|n|stipulated",
        "By curve|n|computed", "Raw saving|n|computed", "Equal vol.|n|computed",
    )  # fmt: skip
    return table("Every day of the period, energy in kWh; the workbook has all columns", columns, rows)


def _sum(frame: pl.DataFrame, column: str) -> float | None:
    """Sum of what is known; none where nothing is."""
    known = frame[column].drop_nulls()
    return float(sum(known.to_list())) if len(known) else None


def _words(name: str) -> str:
    return name.replace("_", " ")


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return number(value, 3).rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
