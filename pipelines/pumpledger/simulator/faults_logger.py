"""Faults of loggers, meters and exports, B1 to B5, B8 to B14 and B16: the pump is well, its data are not.

Belongs here: one function per mode. What the logger writes then stands in `shown.py` and `exports.py`. B3 and B5 touch
more than one pump: the fleet picks them, `hard_fleet.py`.
"""

from __future__ import annotations

from datetime import timedelta

from pumpledger.simulator.case import DAY_S, Case
from pumpledger.simulator.shown import LoggerFault


def _note_fault(case: Case, kind: str, amount: float = 0.0) -> None:
    case.pump.logger_faults.append(LoggerFault(kind, case.start_s, case.stop_s, amount))  # type: ignore[arg-type]
    case.mended("repair", "logger set right")


def missing_days(case: Case) -> str:
    """B1: two to five days of each week, or their larger part."""
    a_week = round(case.between(2.0, 5.0))
    share = case.between(0.6, 1.0)
    lost = []
    for monday in range(0, len(case.days), 7):
        week = case.days[monday : monday + 7]
        if len(week) < 7 and monday:
            break
        picked = case.rng.choice(len(week), min(a_week, len(week)), replace=False)
        lost += [week[i] for i in sorted(picked.tolist())]
    for day in lost:
        from_s = case.horizon.midnight_s(day) + int(3600 * case.rng.uniform(0.0, 24.0 * (1.0 - share)))
        case.pump.lost.append((from_s, from_s + int(share * DAY_S)))
    case.first, case.last = lost[0], lost[-1]
    return f"{len(lost)} days lost, {share:.0%} of each"


def sent_twice(case: Case) -> str:
    """B2: the rows of one to three weeks arrive a second time in another file."""
    count = max(1, round(case.between(1.0, 3.0)))
    weeks = [week for week in case.horizon.weeks if week.end_s > case.start_s][:count]
    case.pump.sent_again = True
    case.pump.again_weeks = frozenset(week.label for week in weeks)
    first = (weeks[0].start_s - case.horizon.start_s + 7200) // DAY_S
    case.first = case.horizon.first_day + timedelta(days=int(first))
    case.last = case.first + timedelta(days=7 * len(weeks) - 1)
    return f"rows of {len(weeks)} weeks sent again in a second file"


def swapped(case: Case, other_id: str) -> str:
    """B3: the log of another pump under this one's name."""
    case.pump.swapped = (case.start_s, case.stop_s, other_id)
    return f"holds the log of {other_id}"


def wrong_unit(case: Case) -> str:
    """B4: kW in the column of watts, or per cent in the column of rev/min."""
    kind = str(case.rng.choice(["kw", "percent"]))
    _note_fault(case, kind)
    case.size = 1.0
    return "kW written in the column of watts" if kind == "kw" else "per cent written in the column of rev/min"


def wrong_zone(case: Case) -> str:
    """B5: the local clock in a column of UTC, at every pump of the source."""
    case.pump.stamps_local = True
    case.whole()
    case.size = 1.0
    return "the whole source writes local time as UTC"


def counter_wraps(case: Case) -> str:
    """B8: the energy counter passes 9999.99 kWh."""
    at = case.start_s + int(case.rng.uniform(0.3, 0.7) * DAY_S)
    case.pump.counter_wraps_s = at
    case.last = case.first
    case.size = 1.0
    return "energy counter begins again at 10,000 kWh"


def counter_reset(case: Case) -> str:
    """B9: a new meter begins at nothing."""
    case.pump.counter_reset_s = case.start_s + 900 * int(case.rng.integers(32, 68))
    case.last = case.first
    case.size = 1.0
    return "energy counter replaced, begins at 0"


def clamp_backwards(case: Case) -> str:
    """B10."""
    _note_fault(case, "ratio", -1.0)
    case.size = 1.0
    return "clamp the wrong way round: power below nothing"


def half_or_double(case: Case) -> str:
    """B11: one leg of two, or a transformer of another ratio."""
    ratio = float(case.rng.choice([0.5, 2.0]))
    _note_fault(case, "ratio", ratio)
    case.size = 1.0
    return f"meter shows {ratio:g} times the power"


def frozen(case: Case) -> str:
    """B12: the power channel repeats itself, two to twelve hours at a time, every few days."""
    hours = case.between(2.0, 12.0)
    days = [day for day in case.days if case.rng.random() < 0.5] or [case.first]
    seen = []
    for day in days:
        runs = case.running_min(day, 60)
        if not runs:
            continue
        begin, end = runs[0]  # over the start, where the speed changes: elsewhere nothing would show
        at = case.at(day, (begin if case.rng.random() < 0.5 else end) - 60 * hours / 2)
        case.pump.logger_faults.append(LoggerFault("frozen", at, at + int(hours * 3600)))
        seen.append(day)
    if seen:
        case.first, case.last = seen[0], seen[-1]
    return f"power frozen for {hours:.1f} h on {len(seen)} days"


def straight_line(case: Case) -> str:
    """B13: holes filled by straight lines, one to three hours, over a start or a stop."""
    hours = case.between(1.0, 3.0)
    days = [day for day in case.days if case.rng.random() < 0.5] or [case.first]
    seen = []
    for day in days:
        runs = case.running_min(day, 60)
        if not runs:
            continue
        at = case.at(day, runs[0][0] - 30 * hours)
        case.pump.logger_faults.append(LoggerFault("line", at, at + int(hours * 3600)))
        seen.append(day)
    if seen:
        case.first, case.last = seen[0], seen[-1]
    return f"{hours:.1f} h filled by a straight line on {len(seen)} days"


def ghost_power(case: Case) -> str:
    """B14: the meter shows watts that no pump takes, at rest as well."""
    watts = case.between(14.0, 90.0)
    _note_fault(case, "offset", watts)
    return f"meter shows {watts:.0f} W too much, always"


def interval_changed(case: Case) -> str:
    """B16: from a row each five minutes to one each quarter of an hour."""
    case.pump.thinned.append((case.start_s, case.stop_s))
    case.size = 1.0
    return "a row each 15 minutes in place of 5"
