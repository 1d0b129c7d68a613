"""Faults of pump, pipes and filter, D1 to D7: the plan runs as keyed in, the water does not move as it did.

Belongs here: one function per mode, in terms of friction, impeller, air and bearings. What flow and power follow from
that stands in `physics.py` and `trace.py`.
"""

from __future__ import annotations

from datetime import timedelta

from pumpledger.simulator.case import DAY_S, Case
from pumpledger.simulator.controller import Manual


def keeps_priming(case: Case) -> str:
    """D1: air leaks in on the suction side; the pump loses its prime, the controller notices and primes again.

    Some minutes with ever less water, then the priming speed until the water is back.
    """
    count = round(case.between(3, 12))
    rpm, minutes = case.pump.controller.priming_rpm, max(2, case.pump.controller.priming_s // 60)
    hands = []
    for day in case.days:
        if case.rng.random() < 0.12:  # the leak is shut for a day: the pot is full
            continue
        for begin, end in case.running_min(day, 180)[:1]:
            room = (end - begin - 60) // count
            if room < 25:
                continue
            for number in range(count):
                at = case.at(day, begin + 40 + number * room + int(case.rng.integers(0, max(1, room - 20))))
                case.pump.air.append((at - 120, at, 0.5))
                case.pump.air.append((at, at + 60 * minutes // 2, 0.25))
                hands.append(Manual(at, at + 60 * minutes, rpm))
    case.add_hands(hands)
    case.mended("repair", "lid ring replaced")
    return f"primes again about {count} times a day, air on the suction side"


def runs_dry(case: Case) -> str:
    """D2: the prime is lost at a start and not found again for a part of the run; not every day."""
    minutes = case.between(12, 300)
    water = 0.0 if case.rng.random() < 0.7 else 0.15
    seen = []
    for day in case.days:
        if day != case.first and case.rng.random() < 0.35:
            continue
        for begin, end in case.running_min(day, 60)[:1]:
            at = case.at(day, begin)
            case.pump.air.append((at, at + 60 * int(min(minutes, end - begin - 5)), water))
            seen.append(day)
    if seen:
        case.first, case.last = seen[0], seen[-1]
    case.mended("repair", "prime found, lid shut")
    return f"turns without water for {minutes:.0f} min after a start, on {len(seen)} days"


def loads(case: Case) -> str:
    """D3: basket and filter fill, slowly and ever faster; cleaning brings it back."""
    most = case.between(0.8, 8.0)
    span = case.stop_s - case.start_s
    points = [(case.start_s + int(span * x), most * x**1.5) for x in (0.0, 0.2, 0.4, 0.6, 0.8, 0.99)]
    case.change("friction", points)
    case.mended("cleaning", "basket and filter cleaned")
    return f"friction grows to {1 + most:.1f} times in {span // DAY_S} days"


def passes_by(case: Case) -> str:
    """D4: a bypass stands open or the filter is broken through: less friction at once."""
    less = case.between(0.25, 0.65)
    case.change("friction", [(case.start_s + 36_000, 0.0), (case.start_s + 36_600, -less)])
    case.mended("repair", "valve set, laterals replaced")
    return f"friction falls by {less:.0%} at once"


def valve_moved(case: Case) -> str:
    """D5: a valve left half shut after service."""
    more = case.between(1.5, 20.0)
    case.change("friction", [(case.start_s + 36_000, 0.0), (case.start_s + 36_600, more)])
    case.mended("check", "valve opened")
    return f"friction {1 + more:.1f} times what it was, from one moment to the next"


def impeller_worn(case: Case) -> str:
    """D6: the impeller is worn or clogged; cleaning the filter does not help."""
    less = case.between(0.04, 0.16)
    days = case.between(14.0, 2.0)
    reached = min(case.start_s + int(days * DAY_S), case.stop_s - DAY_S)
    case.change("impeller", [(case.start_s, 0.0), (reached, -less)])
    middle = case.first + timedelta(days=len(case.days) // 2)
    case.visit(middle, "cleaning")
    case.mended("repair", "impeller freed")
    return f"impeller does what a whole one does at {1 - less:.0%} of the speed"


def bearings(case: Case) -> str:
    """D7: the same watts more at each speed."""
    watts = case.between(12.0, 70.0)
    reached = min(case.start_s + int(10 * DAY_S), case.stop_s - DAY_S)
    case.change("watts", [(case.start_s, 0.0), (reached, watts)])
    case.mended("repair", "bearings replaced")
    return f"bearings take {watts:.0f} W more"
