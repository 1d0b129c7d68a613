"""Numbers, units, days and runs in plain English, the same on every page.

Belongs here: how a value is written. Missing is an en dash or a word, never a zero. HTML and drawing do not belong
here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from pumpledger.units import for_people

DASH = "\N{EN DASH}"
MINUS = "\N{MINUS SIGN}"
NO_BREAK = "\N{NO-BREAK SPACE}"  # a number and its unit stay on one line
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
SEVERITIES = {"safety": "Safety", "this week": "This week", "next visit": "Next visit", "note": "Note", "data": "Data"}
SEVERITY_MARKS = {"safety": "\u25b2", "this week": "\u25cf", "next visit": "\u25cb", "note": "\u2013", "data": "\u25c7"}
MOST_PHRASES = 7


def number(value: float | None, decimals: int = 0) -> str:
    """``1,234.5`` with a true minus sign; an en dash where nothing is known."""
    if value is None:
        return DASH
    text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def kwh(value: float | None) -> str:
    """Energy without its unit: one decimal below a hundred."""
    return number(value, 0 if value is not None and abs(value) >= 100 else 1)


def span(low: float | None, high: float | None, decimals: int | None = None) -> str:
    """``1.02 to 1.21``; ``unknown`` where either end is missing. Without ``decimals`` it is energy."""
    if low is None or high is None:
        return "unknown"
    if decimals is None:
        decimals = 0 if max(abs(low), abs(high)) >= 100 else 1
    first, second = number(low, decimals), number(high, decimals)
    return first if first == second else f"{first} to {second}"


def money(value: float | None, currency: str) -> str:
    """``6.40 USD``."""
    return DASH if value is None else f"{number(value, 0 if abs(value) >= 1000 else 2)}{NO_BREAK}{currency}"


def percent(share: float | None) -> str:
    """``96 %``. Rounded down, so that a day with a hole never reads as complete."""
    return DASH if share is None else f"{int(share * 100 + 1e-9)}{NO_BREAK}%"


def count(amount: int, one: str, many: str = "") -> str:
    """``1 site``, ``4 sites``."""
    return f"{number(amount)} {one if amount == 1 else many or one + 's'}"


def quantity(value: float | None, name: str, system: str, decimals: int = 1, missing: str = "unknown") -> str:
    """A physical quantity in the fleet's units, such as ``quantity(68, "volume", "us")``."""
    if value is None:
        return missing
    shown, label = for_people(value, name, system)
    return f"{number(shown, 0 if abs(shown) >= 1000 else decimals)}{NO_BREAK}{label}"


def speed(value: float | None) -> str:
    """``1,200 rpm``."""
    return DASH if value is None else f"{number(value)}{NO_BREAK}rpm"


def likelihood(probability: float | None) -> str:
    """The rule's starting value in words and per cent."""
    if probability is None:
        return "not stated"
    bounds = ((0.85, "very likely"), (0.65, "likely"), (0.5, "more likely than not"), (0.0, "possible"))
    return f"{next(word for bound, word in bounds if probability >= bound)}, {percent(probability)}"


def benefit(energy_kwh: float | None, worth: float | None, currency: str) -> str:
    """What a fix is worth in a week."""
    if energy_kwh is None and worth is None:
        return "unknown"
    shown = energy_kwh is not None and (
        abs(energy_kwh) >= 0.05 or worth is None
    )  # shifting hours saves money and no energy
    parts = [f"about {kwh(energy_kwh)}{NO_BREAK}kWh"] if shown else []
    return ", ".join(parts + ([money(worth, currency)] if worth is not None else []))


def weekday(day: date) -> str:
    """``Mon 2 Nov``."""
    return f"{_DAYS[day.weekday()][:3]} {day.day} {_MONTHS[day.month - 1][:3]}"


def day_range(first: date, last: date) -> str:
    """``2 to 8 November 2026``, shortened where month or year repeat."""
    end = f"{last.day} {_MONTHS[last.month - 1]} {last.year}"
    if first == last:
        return end
    if first.year != last.year:
        return f"{first.day} {_MONTHS[first.month - 1]} {first.year} to {end}"
    return f"{first.day} to {end}" if first.month == last.month else f"{first.day} {_MONTHS[first.month - 1]} to {end}"


def clock(minutes: int | float) -> str:
    """Wall clock of minutes since 00:00; 1440 is ``24:00``."""
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"


def hours(minutes: float | None) -> str:
    """``6 h 15 min``."""
    if minutes is None:
        return "unknown"
    whole = round(minutes)
    parts = [f"{whole // 60} h" if whole >= 60 else "", f"{whole % 60} min" if whole % 60 or whole < 60 else ""]
    return " ".join(part for part in parts if part)


Stretch = tuple[str, str, str, str, int, float]
"""kind, cause, from HH:MM, to HH:MM, speed [rev/min], duration [min]."""


def day_in_words(stretches: Sequence[Stretch], day_min: int = 1440) -> str:
    """One day of one pump as a sentence: what ran, from when to when, what is unknown."""
    told = [stretch for stretch in stretches if stretch[0] != "off"]
    covered = sum(stretch[5] for stretch in stretches)
    if not stretches or all(stretch[0] == "unknown" for stretch in stretches):
        return "unknown all day"
    if not told:
        return "off all day" if covered >= day_min - 1 else "off as far as known"
    kept = set(sorted(range(len(told)), key=lambda at: (-told[at][5], at))[:MOST_PHRASES])
    phrases = [_phrase(stretch) for at, stretch in enumerate(told) if at in kept]
    if len(told) > len(kept):
        phrases.append(f"and {count(len(told) - len(kept), 'shorter stretch', 'shorter stretches')}")
    if any(stretch[0] == "off" for stretch in stretches):
        phrases.append("otherwise off")
    return "; ".join(phrases)


def _phrase(stretch: Stretch) -> str:
    kind, cause, start, stop, rpm, _ = stretch
    if kind == "unknown":
        return f"unknown {start} to {stop}"
    verbs = {
        "override": "override",
        "freeze protection": "freeze protection",
        "auxiliary load": "raised for its auxiliary load",
        "unexplained": "unexplained run",
        "priming": "priming",
    }
    return f"{verbs.get(cause, 'ran')} {start} to {stop} at {number(rpm)} rpm"


def days_in_words(days: Iterable[tuple[date, str]]) -> list[tuple[str, str]]:
    """Days that read the same, joined: ``[("Mon 2 Nov to Wed 4 Nov", "ran ..."), ...]``."""
    groups: list[tuple[date, date, str]] = []
    for day, text in days:
        if groups and groups[-1][2] == text:
            groups[-1] = (groups[-1][0], day, text)
        else:
            groups.append((day, day, text))
    return [
        (weekday(first) if first == last else f"{weekday(first)} to {weekday(last)}", text)
        for first, last, text in groups
    ]
