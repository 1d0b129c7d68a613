"""What is asked of a site's plans beyond its water and its ratings: by the register, or otherwise where someone asks what if.

Belongs here: the wishes and how they are read off a register row. What they become stands in `fleet_problems.py`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from pumpledger.planning.problem import MOST_PERIODS, QUARTERS, Restraint
from pumpledger.planning.rules import NO_PLACE, PLACES, Rules

Window = tuple[int, int]
"""First quarter and quarters."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a company asks of a site. None: as the register says, and where it says nothing, nothing.

    Args:
        rules: of the place where the site lies.
        runs_all_day: without a pause.
        skimming, chlorination: (least speed [rev/min], quarters a day).
        solar: when panels are to have water, with the lowest speed that brings it there [rev/min].
        load_window: when the auxiliary load runs by the clock; without it the load keeps its hours, at any time.
        quiet: (first quarter, quarters, highest speed [rev/min], 0 off).
        longest_pause: in quarters.
        most_periods, crosses_midnight: what the controller can hold.
        wear_per_start: [currency].
        standby_w: draw of the pump at rest [W].
    """

    rules: Rules | None = None
    runs_all_day: bool | None = None
    skimming: tuple[float, int] | None = None
    chlorination: tuple[float, int] | None = None
    solar: tuple[int, int, float] | None = None
    load_window: Window | None = None
    quiet: tuple[tuple[int, int, float], ...] | None = None
    longest_pause: int | None = None
    most_periods: int | None = None
    crosses_midnight: bool | None = None
    wear_per_start: float = 0.0
    standby_w: float = 0.0
    restraint: Restraint = Restraint()

    def over(self, register: Wishes) -> Wishes:
        """These wishes, and those of the register where these say nothing."""
        own = {field.name: value for field in fields(self) if (value := getattr(self, field.name)) is not None}
        return replace(register, **own)

    @property
    def place(self) -> Rules:
        return self.rules or NO_PLACE


def usual_wishes(proposals: Mapping[str, float]) -> Wishes:
    """What the keys of ``[proposals]`` in fleet.toml ask of every plan."""
    restraint = Restraint(proposals["least_saving_share"], proposals["least_saving_year"])
    return Wishes(wear_per_start=proposals["wear_per_start"], restraint=restraint)


def register_wishes(row: Mapping[str, object]) -> Wishes:
    """What a row of ``planning/pump_terms`` asks. Hours that are given by half, or last no time, ask nothing: the check of
    the register says so."""
    quiet, solar = _window(row, "quiet"), _window(row, "solar")
    skimming = row["skimming_hours_per_day"], row["skimming_speed_rpm"]
    pause = row["longest_pause_hours"]
    return Wishes(
        rules=PLACES[str(row["jurisdiction"])] if row["jurisdiction"] is not None else None,
        runs_all_day=row["runs_all_day"],
        skimming=(skimming[1], math.ceil(skimming[0] * 4 - 1e-9)) if None not in skimming else None,
        solar=(*solar, row["solar_speed_rpm"]) if solar and row["solar_speed_rpm"] is not None else None,
        load_window=_window(row, "aux"),
        quiet=((*quiet, row["quiet_speed_rpm"] or 0.0),) if quiet else None,
        longest_pause=math.floor(pause * 4 + 1e-9) if pause is not None else None,
        most_periods=MOST_PERIODS if row["controller_periods"] is None else row["controller_periods"],
        crosses_midnight=row["over_midnight"] is not False,
    )


def _window(row: Mapping[str, object], name: str) -> Window | None:
    """Hours of the clock in whole quarters, those begun included; None where there are none."""
    start, stop = row[f"{name}_start_min"], row[f"{name}_stop_min"]
    if start is None or stop is None or (start % 1440 == stop % 1440 and (start, stop) != (0, 1440)):
        return None
    first, last = start // 15, math.ceil(stop / 15)
    return first % QUARTERS, min((last - first) % QUARTERS or QUARTERS, QUARTERS)
