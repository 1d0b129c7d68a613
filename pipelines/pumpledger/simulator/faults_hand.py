"""What people do at the pad and tell nobody, C10 and C11.

Belongs here: overrides that are faults. Those that someone agreed to stand in `innocents.py`.
"""

from __future__ import annotations

from pumpledger.simulator.case import Case


def left_on(case: Case) -> str:
    """C10: an override of four hours to a day, once to three times a week, at odd times."""
    hours = case.between(4.0, 24.0)
    speed = 25 * int(case.rng.integers(96, 129))
    hands, taken = [], None
    for day in case.days:
        if (day - case.first).days % 7 == 0:
            taken = set(case.rng.choice(7, int(case.rng.integers(1, 4)), replace=False).tolist())
        if taken is not None and ((day - case.first).days % 7 in taken or day == case.first):
            start = float(case.rng.uniform(360, 1260))
            hands.append(case.hand(day, start, 60.0 * hours, speed))
    case.add_hands(hands)
    return f"{len(hands)} overrides at {speed} rpm of {hours:.1f} h, none agreed"


def every_day(case: Case) -> str:
    """C11: the owner sets the pump by hand, most days at about the same time."""
    hours = case.between(1.0, 5.0)
    speed = 25 * int(case.rng.integers(88, 125))
    usual = float(case.rng.uniform(480, 1140))
    hands = [
        case.hand(day, usual + float(case.rng.normal(0.0, 25.0)), 60.0 * hours * case.rng.uniform(0.8, 1.2), speed)
        for day in case.days
        if case.rng.random() < 0.85
    ]
    case.add_hands(hands)
    return f"override of {hours:.1f} h at {speed} rpm on most days about {usual // 60:02.0f}:{usual % 60:02.0f}"
