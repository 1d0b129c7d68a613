"""The pictures of a claim as numbers that the templates draw, each with the words that say the same.

Belongs here: the calendar of days, energy by day or month, a plan's day. Colours and lines belong to the templates.
"""

from __future__ import annotations

import calendar
import math
from datetime import date

import polars as pl

from pumpledger.claims.blocks import Block, clock, number

MOST_DAY_BARS = 70
_MONTHS = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_calendar(days: pl.DataFrame) -> Block:
    """Every day of the period: counted, left out, or not known. ``days`` is `CLAIM_DAYS`."""
    states = {}
    for row in days.iter_rows(named=True):
        nothing = row["state"] == "not reviewed" or not row["coverage"]
        states[row["day_local"]] = "counted" if row["state"] == "counted" else "missing" if nothing else "struck"
    months = sorted({(day.year, day.month) for day in states})
    rows = []
    for year, month in months:
        length = calendar.monthrange(year, month)[1]
        cells = [[str(n), states.get(date(year, month, n), "none") if n <= length else "none"] for n in range(1, 32)]
        rows.append([f"{_MONTHS[month]} {year}", cells])
    tally = {state: sum(value == state for value in states.values()) for state in ("counted", "struck", "missing")}
    words = f"{tally['counted']} days counted, {tally['struck']} left out with a reason, {tally['missing']} without readings"
    return {
        "kind": "calendar",
        "months": rows,
        "caption": f"Completeness of the period: {words}.",
        "alt": f"Calendar of the {len(states)} days of the period: {words}. The table of exclusions names each day.",
    }


def energy_by_day(days: pl.DataFrame) -> Block | None:
    """Energy of each day beside its baseline; none where the period is too long to tell days apart."""
    if days.height > MOST_DAY_BARS or not days.height:
        return None
    bars = [
        [row["energy_kwh_mid"], row["baseline_kwh"], row["state"] == "counted"] for row in days.iter_rows(named=True)
    ]
    known = [value for bar in bars for value in bar[:2] if value is not None]
    if not known:
        return None
    every = max(1, math.ceil(days.height / 9))
    labels = [
        [at, f"{day.day} {_MONTHS[day.month]}"] for at, day in enumerate(days["day_local"].to_list()) if at % every == 0
    ]
    used = [bar[0] for bar in bars if bar[0] is not None]
    least, most = (number(min(used), 1), number(max(used), 1)) if used else ("unknown", "unknown")
    return {
        "kind": "day_bars",
        "days": bars,
        "labels": labels,
        "top": _round_up(max(known)),
        "unit": "kWh a day",
        "caption": "Energy of each day, and the baseline of the former pump. Hollow: not counted. No bar: not known.",
        "alt": f"Bars of the energy used on each day, from {least} to {most} kWh, each with a line at its baseline. "
        "The numbers stand in the table of days.",
    }


def energy_by_month(months: pl.DataFrame) -> Block | None:
    """Energy and baseline of the counted days, month by month."""
    held = [
        [f"{_MONTHS[int(row['month'][5:])]} {row['month'][:4]}", row["energy_kwh"], row["baseline_kwh"]]
        for row in months.iter_rows(named=True)
        if row["energy_kwh"] is not None and row["baseline_kwh"] is not None
    ]
    if len(held) < 2:
        return None
    return {
        "kind": "month_bars",
        "months": held,
        "top": _round_up(max(max(row[1], row[2], 0.0) for row in held)),
        "unit": "kWh",
        "caption": "Counted days of each month: baseline and energy used.",
        "alt": "Two bars a month, baseline and energy used: "
        + "; ".join(f"{name} {number(old, 0)} and {number(new, 0)} kWh" for name, new, old in held)
        + ".",
    }


def plan_day(title: str, periods: list[tuple[int, float, int, int]]) -> Block:
    """One day of a plan: (period, speed [rev/min], start, stop [min since midnight]); stop before start crosses midnight."""
    blocks = []
    for _, speed, start, stop in sorted(periods):
        parts = [(start, stop)] if stop > start else [(start, 1440), (0, stop)]
        blocks += [[first, last, round(speed)] for first, last in parts if last > first]
    told = "; ".join(
        f"period {period}: {number(speed)} rpm from {clock(start)} to {clock(stop)}"
        for period, speed, start, stop in sorted(periods)
    )
    return {
        "kind": "plan",
        "blocks": blocks,
        "top": 3600,
        "caption": f"{title}: {told}.",
        "alt": f"{title} over 24 hours: {told}; otherwise off.",
    }


def _round_up(value: float) -> float | int:
    """A round number at or above ``value``, half of which is round too."""
    if value <= 0:
        return 1
    power = 10.0 ** math.floor(math.log10(value))
    top = next(step * power for step in (1, 1.2, 1.6, 2, 2.4, 3, 4, 5, 6, 8, 10) if step * power >= value * (1 - 1e-12))
    return int(top) if top == int(top) else round(top, 6)
