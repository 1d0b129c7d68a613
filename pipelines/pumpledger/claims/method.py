"""The formulas of a claim, by name, with their parameters and what they give.

Belongs here: the table that a reviewer recomputes from. Words about rules stand beside the rule's own source.
"""

from __future__ import annotations

import polars as pl

from pumpledger.claims.data import METHOD, ProgrammeResult, Totals
from pumpledger.claims.formulas import FORMULAS
from pumpledger.claims.programme_data import Formula, Programme

_ALGEBRA = "plain arithmetic; the usual shape in technical reference manuals"


def method(
    totals: Totals,
    programme: Programme | None,
    results: list[tuple[Formula, tuple[ProgrammeResult, ...]]],
) -> pl.DataFrame:
    """`data.METHOD`: both savings of the accounts, then the programme's formulas, each with its parameters below it."""
    rows: list[tuple[object, ...]] = []

    def formula(
        name: str, expression: str, source: str, result: float | None, unit: str, claimed: bool = False
    ) -> None:
        rows.append((name, expression, "", "", source, result, unit, claimed))

    def parameter(name: str, of: str, value: str, source: str) -> None:
        rows.append((of, "", name, value, source, None, "", False))

    raw, equal = totals.raw.mid if totals.raw else None, totals.equal.mid if totals.equal else None
    formula("raw saving (accounts)", FORMULAS["raw saving"].expression, _ALGEBRA, raw, "kWh")
    parameter("baseline", "raw saving (accounts)", f"{totals.baseline_kwh:.3f} kWh", "table of days")
    parameter("energy", "raw saving (accounts)", f"{totals.energy_kwh:.3f} kWh", "table of days")
    formula("equal-volume saving (accounts)", FORMULAS["equal-volume saving"].expression, _ALGEBRA, equal, "kWh")
    parameter("days", "equal-volume saving (accounts)", str(totals.equal_days), "counted days with a volume")
    formula(
        "uncertainty",
        totals.uncertainty_method,
        "JCGM 100:2008",
        totals.uncertainty_90,
        "share of the raw saving, 90 %",
    )
    formula(
        "completeness",
        totals.sufficiency,
        "CalTRACK 2.0, 2.2.1.2, or the programme's file",
        totals.share,
        "share of days",
    )
    for item, given in results:
        for place, result in enumerate(given):
            name = item.name if place == 0 else f"{item.name}: {result.name}"
            said = FORMULAS[item.name].expression if result.value is not None else result.sentence
            said += f"; {result.capped}" if result.capped else ""
            formula(name, said, item.source, result.value, result.unit, item.claimed and place == 0)
        for name, value in item.parameters.items():
            table = programme.tables[value] if programme and isinstance(value, str) else None
            shown = f"by table {value!r}: {table.gives}" if table else f"{value:g}"
            parameter(name, item.name, shown, table.source if table else item.source)
    schema = METHOD.schema
    return METHOD.conform(
        pl.DataFrame([(place, *row) for place, row in enumerate(rows, start=1)], schema=schema, orient="row")
    )
