"""Every fault and innocent of a hard fleet: what it wants of its site, and what may truthfully be found with it.

Belongs here: the table. Physics stand in `faults_*.py` and `innocents.py`; who gets what in `deck.py`.

Not in it, because a simulated pump, logger or register cannot show them: A6 (plans here are the same on each weekday),
B6 and B7 (the fold of the clock change is written rightly by every logger here, and their clocks do not jump), B15
(nothing else hangs on these circuits), B17 (one order of day and month in each file), C3 (the register refuses periods
that overlap) and D16 (the heater's call is in no log).

What a log cannot show is not asked of it, by what the thing is: a log of changes has no power minutes after a start (C15);
one that looks each quarter hour shows steps and no drift (A4); without flow, and power at another speed, no litre has a
price, and without ratings nobody may ask for a higher speed (C8); without flow nobody knows whether the water that a pause
leaves suffices (C1), nor what is held against a rating (D11); whether the load of a pump that runs at night is in use shows in the days before (C2), and an older plan is on record only if it was keyed in before (A7); a power cut
that ends while the pump rests anyway leaves a wrong clock and no end (A5, noted as A3); and a plan is known to be the
maker's when three pumps have run it (C9): the first two run what is not on record (noted as C13), and so does a pump that
always did (C9 begins with days of before, and the day itself). A pump whose log holds another's readings shows no fault of
its own (B3, `hard_fleet.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pumpledger.simulator import faults_clock as clock
from pumpledger.simulator import faults_drive as drive
from pumpledger.simulator import faults_hand as hand
from pumpledger.simulator import faults_logger as logger
from pumpledger.simulator import faults_plan as plan
from pumpledger.simulator import faults_water as water
from pumpledger.simulator import innocents as innocent
from pumpledger.simulator.case import Case

SPEED = ("coast", "coast", "coast", "coast", "inland", "ridge", "counter")
POWER = ("coast", "coast", "coast", "inland", "ridge")
FINE = ("coast", "coast", "coast", "ridge")
SAMPLES = ("coast",)
COUNTER = ("counter",)
HISTORY_DAYS = 12
"""What changes slowly or at once can only be told from what was before."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One mode.

    ``sources`` are the loggers that can show it (one named twice is twice as likely); ``zone``, ``tariff`` and ``aux``
    are needed, where named; ``longest_min`` is the longest day's run. ``touches`` says what of a site it changes: two
    cases of one site never touch the same; two words are two things. ``flow``: someone must know what flows. ``brings`` are modes that may truthfully be found with it. ``days_before``
    is the history that it needs, ``least_days`` what it takes to be one at all: in ten days there is one week that holds
    five of them, which is what a weekly look at five of seven days needs.
    """

    lay: Callable[[Case], str] | None
    touches: str
    sources: tuple[str, ...] = SPEED
    brings: tuple[str, ...] = ()
    zone: str | None = None
    tariff: str | None = None
    aux: tuple[str, ...] = ()
    longest_min: int | None = None
    ratings: bool = False
    flow: bool = False
    days_before: int = 0
    least_days: int = 10


_WASTE = ("C7", "C12", "O2", "O3")
_CHANGE = {"days_before": HISTORY_DAYS, "least_days": 14}
_CHLORINE = ("chlorinator",)

FAULTS: dict[str, Kind] = {
    "A1": Kind(clock.twelve_hours, "clock", brings=("C2", "C12", "O3"), longest_min=840),
    "A2": Kind(clock.not_changed, "clock", brings=("A3", "C12", "O3"), longest_min=1020),
    "A3": Kind(clock.odd_amount, "clock", brings=("C2", "C12", "O3"), longest_min=1020),
    "A4": Kind(clock.drifts, "clock", (*FINE, "inland"), brings=("A3", "C12", "O3"), longest_min=1020, least_days=21),
    "A5": Kind(clock.starts_again, "clock", brings=("A1", "A3", "B1", "C2", "C12", "D8", "O3"), longest_min=840),
    "A7": Kind(clock.old_season, "plan", brings=("C12", "C13", "O3"), longest_min=1020, days_before=1),
    "B1": Kind(logger.missing_days, "logger"),
    "B2": Kind(logger.sent_twice, "again"),
    "B3": Kind(None, "logger", SAMPLES, longest_min=1020),
    "B4": Kind(logger.wrong_unit, "logger", FINE),
    "B5": Kind(None, "clock", ("shore",), brings=("B1", "B2"), longest_min=900),
    "B8": Kind(logger.counter_wraps, "logger", COUNTER),
    "B9": Kind(logger.counter_reset, "logger", COUNTER),
    "B10": Kind(logger.clamp_backwards, "logger", POWER),
    "B11": Kind(logger.half_or_double, "logger", POWER),
    "B12": Kind(logger.frozen, "logger", SAMPLES),
    "B13": Kind(logger.straight_line, "logger", SAMPLES, brings=("B1",)),
    "B14": Kind(logger.ghost_power, "logger", POWER),
    "B16": Kind(logger.interval_changed, "logger", SAMPLES),
    "C1": Kind(plan.hole_in_the_day, "plan", brings=("O1", "O3"), flow=True),
    "C2": Kind(
        plan.only_at_night, "plan", FINE, brings=("O3",), aux=_CHLORINE, tariff="flat", longest_min=600, days_before=1
    ),  # fmt: skip
    "C4": Kind(plan.step_dropped, "plan", brings=("C13", "D15", "O1", "O3"), longest_min=900),
    "C5": Kind(plan.wrong_order, "plan", brings=("C12", "C13", "D15", "O1", "O3"), longest_min=900),
    "C6": Kind(plan.full_speed, "plan", brings=("C9", "C13", "D11", *_WASTE)),
    "C7": Kind(plan.fast_for_too_long, "plan", brings=("D11", "C12", "O2", "O3")),
    "C8": Kind(
        plan.too_slow, "plan", POWER, brings=("D15", "O1", "O2", "O3"), flow=True, ratings=True, days_before=8
    ),  # fmt: skip
    "C9": Kind(None, "plan", brings=("C13", "D11", "D15", "O1", *_WASTE), days_before=4),
    "C10": Kind(hand.left_on, "hand", brings=("D11", *_WASTE)),
    "C11": Kind(hand.every_day, "hand", brings=("C10", "C13", "D11", *_WASTE)),
    "C12": Kind(plan.in_peak_hours, "plan", brings=("O3",), tariff="evening_peak"),
    "C13": Kind(plan.stale_record, "plan", brings=("C12", "D15", "O1", "O2", "O3"), longest_min=1080),
    "C14": Kind(plan.primes_too_long, "plan prime", FINE, brings=("C1", "O3"), tariff="flat", longest_min=900),
    "C15": Kind(plan.primes_too_slow, "prime", SAMPLES, brings=("D1", "D2", "O1"), longest_min=960),
    "C16": Kind(plan.too_many_starts, "drive", FINE, brings=("C14", "D8", "D9", "O1")),
    "C17": Kind(plan.twin_steps, "plan", longest_min=1080),
    "C18": Kind(plan.off_the_grid, "record", brings=("C13",)),
    "D1": Kind(water.keeps_priming, "water", FINE, brings=("C14", "C16", "D2", "O1", "O3"), longest_min=1020),
    "D2": Kind(water.runs_dry, "water", FINE, brings=("C15", "O1", "O5"), longest_min=1020),
    "D3": Kind(water.loads, "water", POWER, brings=("O1", "O5"), **_CHANGE),
    "D4": Kind(water.passes_by, "water", POWER, brings=("O2",), **_CHANGE),
    "D5": Kind(water.valve_moved, "water", POWER, brings=("D3", "O1", "O5"), **_CHANGE),
    "D6": Kind(water.impeller_worn, "water", POWER, brings=("D3", "O1", "O5"), **_CHANGE),
    "D7": Kind(water.bearings, "water", POWER, brings=("O3",), **_CHANGE),
    "D8": Kind(drive.does_not_run, "drive", brings=("O1", "O5", "D17"), least_days=2),
    "D9": Kind(drive.no_power, "drive", POWER, brings=("D2", "D8", "O1", "O5")),
    "D10": Kind(drive.sags, "drive", zone="inland", brings=("C13", "O1")),
    "D11": Kind(plan.above_a_rating, "rating", ratings=True, flow=True),
    "D12": Kind(drive.relay_stuck, "aux", FINE, brings=("D14",), aux=_CHLORINE, longest_min=1080),
    "D13": Kind(drive.relay_open, "aux", FINE, brings=("D15",), aux=_CHLORINE, days_before=8),
    "D14": Kind(drive.too_little_for_the_load, "aux", FINE, brings=("D12", "D15"), aux=_CHLORINE),
    "D15": Kind(plan.too_few_hours_for_the_cell, "plan", FINE, brings=("O1", "O2", "O3"), aux=_CHLORINE),
    "D17": Kind(drive.no_freeze_protection, "freeze", FINE, zone="ridge", longest_min=900),
    "D18": Kind(drive.freezes_in_the_warm, "freeze", FINE, zone="ridge", longest_min=900, brings=("C10", *_WASTE)),
    "D19": Kind(drive.off_at_night, "plan", FINE, brings=("C16", "D8", "O1", "O2", "O3", "O5"), tariff="flat"),
    "D20": Kind(drive.closed_unsaid, "drive", brings=("D8", "O1", "O5", "D17"), least_days=12),
}

INNOCENTS: dict[str, Kind] = {
    "agreed override": Kind(innocent.party, "hand"),
    "backwash": Kind(innocent.backwash, "hand"),
    "vacuum day": Kind(innocent.vacuum, "hand"),
    "night running on purpose": Kind(innocent.night, "plan", longest_min=660, tariff="flat"),
    "near-symmetric plan": Kind(innocent.symmetric, "plan", longest_min=1080, tariff="flat"),
    "plan change on record": Kind(innocent.plan_change, "plan", longest_min=900, tariff="flat"),
    "refill": Kind(innocent.refill, "hand", tariff="flat"),
    "heater season": Kind(innocent.heater_season, "plan", FINE, aux=("heater",), longest_min=960, tariff="flat"),
    "new pump": Kind(innocent.new_pump, "water", POWER),
    "short override": Kind(innocent.short_override, "hand"),
    "clock change handled right": Kind(innocent.clock_right, "clock", longest_min=900),
    "freeze protection acts": Kind(innocent.freeze_acts, "freeze", FINE, zone="ridge", longest_min=1020),
    "long hole": Kind(innocent.long_hole, "logger"),
    "closed season": Kind(innocent.closed, "drive"),
    "cleaned in time": Kind(innocent.cleaned, "water", POWER),
}
