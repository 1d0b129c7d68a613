"""Rules about logs and exports: what must be put right before a site is judged.

Most of them turn a doubt of the room `verdicts` into a finding: their names, needs and thresholds are the mode's and
stand in `verdicts/registry.py`, here only what it is worth and what to do. Doubts that are dealt with by themselves are
notes and ask nothing of anyone.
"""

from __future__ import annotations

from pumpledger.diagnosis.rules.cautions import ELECTRICAL
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.diagnosis.verdict_rules import doubts_of, wrong_unit
from pumpledger.engine.parameter import Parameter
from pumpledger.verdicts.registry import MODES


def _doubt(
    identifier: str,
    order: float,
    instruction: str = "",
    *,
    risk_cost_week: float = 6,
    work_min: float = 10,
    probability: float = 0.9,
    caution: str = "",
    others: str = "",
    explained_by: tuple[str, ...] = (),
) -> Rule:
    """The rule of a mode. Without an instruction the doubt is dealt with by itself: a note."""
    mode = MODES[identifier]
    return Rule(
        id=identifier,
        name=mode.name,
        severity="data" if instruction else "note",
        needs=mode.needs,
        order=order,
        find=doubts_of(identifier),
        season="any",
        probability=probability,
        work_min=work_min,
        risk_cost_week=risk_cost_week if instruction else 0,
        sentence="{extra}",
        instruction=instruction,
        caution=caution,
        others=others,
        picture="none",
        explained_by=explained_by,
    )


RULES: tuple[Rule, ...] = (
    _doubt(
        "B3",
        10,
        "Compare the codes on the two loggers with the register, then confirm or refuse the exchange once; it settles "
        "both sites.",
        risk_cost_week=8,
        others="A plan that was changed at both sites and not recorded; pumps and plans that are alike.",
    ),
    Rule(
        id="B4",
        name=MODES["B4"].name,
        severity="data",
        needs=MODES["B4"].needs,
        order=10.1,
        find=wrong_unit,
        season="any",
        probability=0.9,
        work_min=10,
        risk_cost_week=6,
        others=(
            "A meter that measures only part of the circuit; a pump that hardly turned. The register's own figures "
            "may be wrong."
        ),
        picture="none",
        sentence="{extra} Until it is settled no energy, turnover or saving that rests on it is believed.",
        instruction=(
            "Ask whoever exports for the unit of the column, then decide once: set it in the dialect, or confirm the "
            "doubt that the data section of the review names, and run the week again."
        ),
        explained_by=("B3",),
    ),
    _doubt(
        "B10",
        10.2,
        "Have the clamp turned round, or confirm that the sign is to be reversed.",
        others="An export that writes drawn power with a minus for all pumps.",
        caution=ELECTRICAL,
        explained_by=("B3",),
    ),
    _doubt(
        "B11",
        10.3,
        "Have the clamp's ratio, and whether it holds one leg or two, checked against the nameplate; then confirm or "
        "refuse the factor.",
        work_min=30,
        caution=ELECTRICAL,
        others="Another size of pump than the register says.",
        explained_by=("B3", "B4"),
    ),
    _doubt("B8", 10.4, others="A new meter or pump."),
    _doubt("B9", 10.5, others="A counter that starts again at its end."),
    _doubt("B12", 10.6, others="A meter of coarse steps at a steady speed."),
    _doubt("B13", 10.7, others="A slow ramp of the pump."),
    _doubt(
        "B5",
        11,
        "Settle the time zone once for the whole source, in its dialect or by confirming it; set no pump's clock for it.",
        others="Pumps that all missed the same clock change.",
        risk_cost_week=10,
    ),
    _doubt(
        "B17",
        11.1,
        "Ask whoever exports for the order of day and month, and fix it once for the source.",
        others="Rows of another year or month that were really logged.",
        risk_cost_week=10,
    ),
    Rule(
        id="B6",
        name="Hour of the clock change misread",
        severity="data",
        needs=("stamps in local time",),
        order=11.2,
        season="any",
        probability=0.9,
        work_min=10,
        risk_cost_week=1,
        others="The same rows sent twice.",
        picture="none",
        sentence=(
            "Around the clock change of {first_day} {extra} The day's total is nearly right; its hours, and with them "
            "the tariff's bands, are not sure."
        ),
        instruction="Export in UTC or with the offset in the stamp, and let the logger's clock follow its zone.",
        parameters={"rows": Parameter(1, 1, 100000, "rows", "more")},
        explained_by=("B5",),
    ),
    _doubt("B7", 11.3, others="Rows that are missing."),
    _doubt("B16", 11.4, others="Two loggers that write into one export."),
    Rule(
        id="B1",
        name="Readings are missing",
        severity="data",
        needs=(),
        order=12,
        season="open",
        probability=1.0,
        work_min=10,
        risk_cost_week=4,
        others=(
            "A logger that was moved or switched off on purpose; a site that closed without a word in the register."
        ),
        sentence="{days} of 7 days are not complete enough to count; {measured:.0%} of the week was observed. {extra}",
        instruction="Export the missing days again; if they do not exist, check the logger and its connection.",
        explained_by=("B10",),  # power far below nothing is no reading: its rows are refused
        parameters={
            "days": Parameter(2, 1, 7, "days", "more"),
            "day_coverage": Parameter(0.5, 0.0, 0.9, "share", "less"),
            "hole_min": Parameter(120, 30, 360, "min", "less"),  # the longest hole of a valid day
        },
    ),
    Rule(
        id="B2",
        name="The same rows exported twice",
        severity="data",
        needs=(),
        order=12.1,
        season="any",
        probability=1.0,
        work_min=5,
        risk_cost_week=0.5,
        others=("Files sent again on purpose, to be sure that they arrive."),
        picture="none",
        sentence=(
            "{measured:.0f} rows of this export repeat readings already held; they were left out and counted once."
        ),
        instruction="Nothing to repair in the totals. Ask for exports that do not overlap.",
        parameters={"rows": Parameter(12, 1, 100000, "rows", "more")},
    ),
    Rule(
        id="B14",
        name="Ghost standby power",
        severity="note",
        needs=("speed", "power"),
        order=18,
        season="any",
        probability=0.7,
        work_min=20,
        risk_cost_week=0.5,
        others="A controller or a light's transformer that really hangs on the circuit; the zero of the meter.",
        picture="none",
        sentence=(
            "Draws at least {measured:.0f} W at rest nearly all the time, on {day_count}; a controller at rest takes a "
            "few watts. {extra}"
        ),
        instruction=(
            "Look what else hangs on the metered circuit, such as a transformer of lights, and have the clamp's zero "
            "checked with the supply off."
        ),
        caution=ELECTRICAL,
        parameters={
            # Controllers take a few watts to 15 W at rest (common practice, no source).
            "note_w": Parameter(15, 5, 60, "W", "more"),
            "investigate_w": Parameter(60, 20, 500, "W", "more"),
            "low_share": Parameter(0.05, 0.01, 0.5, "share of the time at rest that may draw less", "less"),
            "rest_min": Parameter(240, 30, 5000, "min at rest in the week", "more"),
            "span_min": Parameter(10, 2, 120, "min at rest at a stretch", "more"),
            "days": Parameter(3, 1, 7, "days", "more"),
        },
        explained_by=("B3", "B4", "B10", "B11"),
    ),
    _doubt(
        "B15",
        18.1,
        "Find what else is on the metered circuit, such as a booster or a heater's fan: give it a meter of its own, or "
        "record it. If it is known, refuse the doubt and it is not named again.",
        risk_cost_week=1,
        work_min=20,
        probability=0.7,
        caution=ELECTRICAL,
        others="An auxiliary load whose state is not in the log; air in the pump.",
        explained_by=("B3", "B4", "B10", "B11", "B12", "D2", "D1", "D9"),
    ),
)
