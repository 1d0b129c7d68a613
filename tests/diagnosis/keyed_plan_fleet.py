"""Sites for the rules about the plan as keyed in: a record, and another plan that runs in its place."""

from __future__ import annotations

from datetime import date

from small_clock import planned_rpm
from small_fleet import Fleet

THREE = ((1, 2400, 360, 480), (2, 1200, 480, 900), (3, 1800, 900, 1080))
EXCHANGED = ((1, 1200, 360, 480), (2, 2400, 480, 900), (3, 1800, 900, 1080))
TWO = ((1, 2400, 360, 540), (2, 1200, 540, 1080))
CUT = ((1, 2400, 360, 450), (2, 1200, 450, 1080))  # 90 min of the first step are lost
DROPPED = (THREE[0], THREE[2])
HOLE = ((1, 1500, 360, 480), (2, 1000, 525, 1200))  # 45 min between the two; 85.5 m3 a day
NIGHT = ((1, 1500, 1320, 1440), (2, 1000, 0, 360), (3, 1000, 900, 930))
DEFAULT = ((1, 3000, 480, 600), (2, 2000, 600, 1020))
OWN = (((1, 1500, 360, 480), (2, 1000, 480, 1200)), ((1, 1700, 300, 900),), ((1, 1200, 420, 1320),))
RESET_DAY = date(2026, 11, 4)


def run(fleet: Fleet, pump: str, plan: tuple, days: list[date] | None = None) -> str:
    """Let ``pump`` run ``plan`` on ``days``, whatever the record says; an empty plan stands still."""
    for day in fleet.days if days is None else days:
        fleet.speed[pump, day] = planned_rpm(plan, day)
    return pump


def reset_sites(fleet: Fleet, sites: int = 3, since: date = RESET_DAY, prefix: str = "R") -> list[str]:
    """Sites of different plans that all run DEFAULT from ``since`` on."""
    late = [day for day in fleet.days if day >= since]
    return [run(fleet, fleet.site(f"{prefix}{n}", plan=OWN[n % len(OWN)]), DEFAULT, late) for n in range(sites)]


def one_of_each(fleet: Fleet) -> None:
    """A site, or three, that each of the rules names."""
    run(fleet, fleet.site("K5", plan=THREE), EXCHANGED)
    reset_sites(fleet)
    run(fleet, fleet.site("K3", plan=TWO), CUT)
    run(fleet, fleet.site("K4", plan=THREE), DROPPED)
    fleet.site("K1", plan=HOLE, required_turnovers=1.3)
    fleet.site("K2", plan=NIGHT, aux_load="chlorinator", aux_min_speed_rpm=900.0)
    fleet.site("K17", plan=((1, 1500, 360, 480), (2, 1525, 480, 900)))
    fleet.site("K18", plan=((1, 1510, 360, 480), (2, 1000, 480, 1200)))
