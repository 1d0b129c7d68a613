"""The registry of rules: identifier, plain name, what it needs, its thresholds with bounds, what to do about it.

Belongs here: every number and sentence of a rule that a manager may ask about. How the evidence is found stands in
`sql/diagnosis/` (and `clock.py`); how rows become findings stands in `assemble.py`.

Thresholds, probabilities and minutes are starting values, common practice without a source unless the rule says
otherwise. Risk costs per week are assumptions that let findings without an energy benefit take their place in the
order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from pumpledger.engine.parameter import Parameter, values_of

Severity = Literal["safety", "this week", "next visit", "note", "data"]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule.

    ``needs`` names the inputs; ``speed`` and ``power`` among them make the rule silent on a pump whose readings of that
    quantity are in doubt. ``season`` 'open' leaves closed sites alone. ``sentence`` and ``instruction`` are
    `str.format` templates over the evidence row (columns of `evidence.EVIDENCE`, ``day_count``, and ``advice``, the
    plan to key in). ``order`` is the order of explanation: data, clock, override, programming, hardware, energy.
    """

    id: str
    name: str
    severity: Severity
    needs: tuple[str, ...]
    order: int
    season: Literal["open", "any"]
    probability: float
    work_min: float
    risk_cost_week: float
    sentence: str
    instruction: str
    caution: str = ""
    parameters: Mapping[str, Parameter] = field(default_factory=dict)


ELECTRICAL = (
    "Electricity kills: switch off and lock out the supply before opening any enclosure, and leave wiring, bonding "
    "and ground-fault protection to licensed practice under local codes."
)
PAD_CHECK = (
    "A suggestion from estimates: before keying it in, check at the pad the ratings of filter and suction fittings "
    "and the least flow of heater, chlorinator and features. Local codes and the pool's permit come first."
)
NO_FLOW = (
    "A load energised without enough flow can overheat, and a chlorinator can collect hydrogen and burst: isolate it "
    "until the interlock is proven. Follow the maker's plate, local codes and licensed practice. " + ELECTRICAL
)
FREEZE = (
    "One-sided: logs cannot show that pipes are protected. If in doubt, treat them as exposed: check on site, keep a "
    "drain plan for a power failure, and follow local codes and licensed practice."
)

_MATCH = {
    "days_least": Parameter(3, 2, 7, "days", "more"),
    "shift_min": Parameter(15, 15, 60, "min", "more"),
    "gain_rpm": Parameter(20, 5, 100, "rpm", "more"),
    "residual_rpm": Parameter(12, 5, 50, "rpm", "less"),
    "residual_share": Parameter(0.15, 0.05, 0.5, "share", "less"),
    "margin_rpm": Parameter(10, 2, 50, "rpm", "more"),
    "cap_rpm": Parameter(400, 100, 2000, "rpm", "less"),
    "differs_rpm": Parameter(30, 10, 100, "rpm", "more"),
    "vote_share": Parameter(0.8, 0.5, 1.0, "share", "less"),
    "vote_pumps": Parameter(5, 3, 50, "pumps", "less"),
}

RULES: tuple[Rule, ...] = (
    Rule(
        id="B4",
        name="Readings in the wrong unit",
        severity="data",
        needs=("speed", "power"),
        order=10,
        season="any",
        probability=0.9,
        work_min=10,
        risk_cost_week=6,
        sentence="{extra} Until it is settled no energy, turnover or saving of this pump is believed.",
        instruction=(
            "Ask whoever exports for the unit of the column, then decide once: set it in the dialect, or confirm the "
            "doubt that the data section of the review names, and run the week again."
        ),
    ),
    Rule(
        id="B1",
        name="Readings are missing",
        severity="data",
        needs=(),
        order=11,
        season="open",
        probability=1.0,
        work_min=10,
        risk_cost_week=4,
        sentence="{days} of 7 days are not complete enough to count; {measured:.0%} of the week was observed. {extra}",
        instruction="Export the missing days again; if they do not exist, check the logger and its connection.",
        parameters={
            "days": Parameter(2, 1, 7, "days", "more"),
            "day_coverage": Parameter(0.5, 0.0, 0.9, "share", "less"),
        },
    ),
    Rule(
        id="B2",
        name="The same rows exported twice",
        severity="data",
        needs=(),
        order=12,
        season="any",
        probability=1.0,
        work_min=5,
        risk_cost_week=0.5,
        sentence=(
            "{measured:.0f} rows of this export repeat readings already held; they were left out and counted once."
        ),
        instruction="Nothing to repair in the totals. Ask for exports that do not overlap.",
        parameters={"rows": Parameter(12, 1, 100000, "rows", "more")},
    ),
    Rule(
        id="A1",
        name="Clock 12 hours out",
        severity="this week",
        needs=("speed", "plan"),
        order=20,
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=15,
        sentence="What runs fits the recorded plan moved by 12 hours: the pump's clock or the record is wrong. {extra}",
        instruction=(
            "Compare the pump's clock with the time of day. If it is 12 hours out set it; if it is right, correct "
            "the recorded plan."
        ),
        parameters=_MATCH,
    ),
    Rule(
        id="A2",
        name="Clock one hour out since the clock change",
        severity="next visit",
        needs=("speed", "plan"),
        order=21,
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=3,
        sentence="Since the clock change the plan runs {extra}",
        instruction="Set the pump's clock to the time of day.",
        parameters=_MATCH,
    ),
    Rule(
        id="C10",
        name="Override left on",
        severity="next visit",
        needs=("speed", "plan"),
        order=30,
        season="open",
        probability=0.8,
        work_min=10,
        risk_cost_week=3,
        sentence=(
            "Ran off its plan for up to {measured:.1f} h at a stretch on {day_count}, with no visit or agreement "
            "on record. {extra}"
        ),
        instruction=(
            "Cancel the override. Ask why it was set: if it is wanted, agree it and record it, or change the plan."
        ),
        caution=PAD_CHECK,
        parameters={"stretch_min": Parameter(180, 60, 1440, "min", "more"), "days": Parameter(1, 1, 7, "days", "more")},
    ),
    Rule(
        id="C6",
        name="Full speed all day",
        severity="this week",
        needs=("speed",),
        order=40,
        season="open",
        probability=0.95,
        work_min=15,
        risk_cost_week=5,
        sentence="Ran at or near full speed for {measured:.1f} h a day on {days} of the last 5 valid days.",
        instruction="Key in a plan in place of full speed. {advice}",
        caution=PAD_CHECK,
        parameters={
            "hours": Parameter(20, 12, 24, "h", "more"),
            "speed_rpm": Parameter(3000, 2400, 3450, "rpm", "more"),
            "days": Parameter(3, 1, 5, "days", "more"),
        },
    ),
    Rule(
        id="C12",
        name="Runs in peak hours",
        severity="next visit",
        needs=("power", "speed", "tariff"),
        order=41,
        season="open",
        probability=0.9,
        work_min=10,
        risk_cost_week=0,
        sentence=(
            "On {day_count} {measured:.0%} of the energy fell in peak hours, more than {threshold:.0%}, which "
            "even use of the day with a margin gives."
        ),
        instruction="Move running out of the peak hours without filtering less. {advice}",
        caution=PAD_CHECK,
        parameters={
            "ratio": Parameter(1.2, 1.0, 3.0, "ratio", "more"),
            "days": Parameter(4, 1, 7, "days", "more"),
            "money_limit": Parameter(0.2, 0.0, 100.0, "currency per week", "more"),  # ten a year
        },
    ),
    Rule(
        id="D8",
        name="Pump does not run",
        severity="this week",
        needs=("speed", "plan"),
        order=50,
        season="open",
        probability=0.9,
        work_min=45,
        risk_cost_week=250,
        sentence=(
            "Stood still through all planned hours of {day_count} while its export went on. These days count as "
            "no saving."
        ),
        instruction=(
            "Go and see: supply, breaker, drive, timer. Look at the water before restarting, and prime as its "
            "maker says."
        ),
        caution=ELECTRICAL,
        parameters={
            "running_most_min": Parameter(15, 0, 120, "min", "less"),
            "observed_share": Parameter(0.9, 0.5, 1.0, "share", "more"),
            "standby_w": Parameter(30, 5, 60, "W", "less"),
        },
    ),
    Rule(
        id="D14",
        name="Auxiliary load on below its minimum speed",
        severity="this week",
        needs=("speed", "aux"),
        order=51,
        season="any",
        probability=0.8,
        work_min=20,
        risk_cost_week=60,
        sentence="{extra} Up to {measured:.0f} min a day on {day_count}.",
        instruction=(
            "Raise the speed at which the controller lets the load on to the recorded minimum, and test that it "
            "drops out with the pump."
        ),
        caution=NO_FLOW,
        parameters={
            "minutes": Parameter(5, 1, 120, "min", "more"),
            "days": Parameter(3, 1, 7, "days", "more"),
            "speed_margin_rpm": Parameter(25, 0, 200, "rpm", "more"),
            "still_min": Parameter(10, 2, 60, "min", "more"),
        },
    ),
    Rule(
        id="D17",
        name="No freeze protection seen on a freezing night",
        severity="safety",
        needs=("speed", "weather"),
        order=52,
        season="open",
        probability=0.7,
        work_min=45,
        risk_cost_week=300,
        sentence=(
            "Stood still for {measured:.0f} min at a stretch while the weather station read freezing ({extra}). "
            "The pad may be colder than the station."
        ),
        instruction=(
            "Check on site today that freeze protection is enabled, its sensor reads true and every exposed line "
            "holds moving water or is drained."
        ),
        caution=FREEZE + " " + ELECTRICAL,
        parameters={
            "air_c": Parameter(0.0, -5.0, 2.0, "deg C", "less"),
            "margin_c": Parameter(2.0, 0.0, 5.0, "deg C", "less"),
            "still_min": Parameter(20, 5, 120, "min", "more"),
        },
    ),
    Rule(
        id="O1",
        name="Filters too little",
        severity="next visit",
        needs=("speed", "flow", "required_turnovers"),
        order=60,
        season="open",
        probability=0.9,
        work_min=15,
        risk_cost_week=20,
        sentence=(
            "Filtered at most {measured:.2f} turnovers a day (estimated, high bound) against {threshold:.2f} "
            "required, on {days} of the last 5 believed days. {extra}"
        ),
        instruction="Filter more. {advice}",
        caution=PAD_CHECK,
        parameters={"days": Parameter(3, 1, 5, "days", "more")},
    ),
    Rule(
        id="O3",
        name="Costs more than it has to",
        severity="next visit",
        needs=("power", "speed", "flow", "required_turnovers"),
        order=61,
        season="open",
        probability=0.8,
        work_min=15,
        risk_cost_week=0,
        sentence=(
            "{extra}; its own simple best plan needs {threshold:.2f}. Above it by more than the limit on {day_count}."
        ),
        instruction="Key in a cheaper plan that filters as much as required. {advice}",
        caution=PAD_CHECK,
        parameters={
            "excess": Parameter(0.15, 0.03, 1.0, "share", "more"),
            "money_limit": Parameter(0.5, 0.0, 100.0, "currency per week", "more"),
            "kwh_limit": Parameter(2.5, 0.0, 500.0, "kWh per week", "more"),
            "days": Parameter(5, 1, 7, "days", "more"),
        },
    ),
)

BY_ID: dict[str, Rule] = {rule.id: rule for rule in RULES}

# Which findings a cause explains, causes in the order they are asked. A finding is never explained away by a weaker
# proof: only by a cause that was found. D14 and D17 are never explained: they stand on their own.
CAUSES: dict[str, tuple[str, ...]] = {
    "C10": ("A1", "A2", "C6"),
    "C12": ("A1", "A2", "C10", "C6"),
    "O3": ("A1", "C10", "C6", "C12"),
}


def parameter_values(rule: Rule, overrides: Mapping[str, Mapping[str, float]] | None = None) -> dict[str, float]:
    """Values of ``rule``'s parameters: defaults, replaced by ``overrides[rule.id]``.

    Raises:
        ValueError: a rule or parameter that does not exist, or a value outside its bounds.
    """
    unknown = sorted(set(overrides or {}) - set(BY_ID))
    if unknown:
        raise ValueError(f"no such rule: {unknown}")
    return values_of(f"rule {rule.id}", rule.parameters, (overrides or {}).get(rule.id, {}))
