"""Rules about logs and exports: what must be put right before a site is judged."""

from __future__ import annotations

from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.parameter import Parameter

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
        others=(
            "A meter that measures only part of the circuit; a pump that hardly turned. The register's own figures "
            "may be wrong."
        ),
        picture="none",
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
        others=(
            "A logger that was moved or switched off on purpose; a site that closed without a word in the register."
        ),
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
        others=("Files sent again on purpose, to be sure that they arrive."),
        picture="none",
        sentence=(
            "{measured:.0f} rows of this export repeat readings already held; they were left out and counted once."
        ),
        instruction="Nothing to repair in the totals. Ask for exports that do not overlap.",
        parameters={"rows": Parameter(12, 1, 100000, "rows", "more")},
    ),
)
