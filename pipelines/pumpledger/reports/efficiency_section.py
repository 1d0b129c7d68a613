"""What a litre costs at each speed, for a site's page: a pump's record in words, its table of speeds, its curves.

Belongs here: choosing and wording rows of one pump. The numbers come from the tables ``efficiency``,
``efficiency_record`` and ``speed_grid``; the drawing is in `svg_curves`.
"""

from __future__ import annotations

import polars as pl
from markupsafe import Markup

from pumpledger.reports import wording
from pumpledger.reports.data import ReviewData, rows_by
from pumpledger.reports.fleet_page import Row
from pumpledger.reports.svg_curves import Band, Upright, curve_picture
from pumpledger.units import for_people

STEP_RPM = 100
"""Curves are drawn through every speed of this step, and through the ends of what is known."""

_BOUNDS = ("lo", "mid", "hi")


class EfficiencySections:
    """Tables grouped once, asked pump by pump."""

    def __init__(self, data: ReviewData) -> None:
        self._units = data.units
        self._speeds = rows_by(data.efficiency.sort("pump_id", "speed_rpm"), "pump_id")
        self._records = {row["pump_id"]: row for row in data.efficiency_record.iter_rows(named=True)}
        self._curves = rows_by(_thinned(data.speed_grid), "pump_id")
        read = data.visit.filter(pl.col("pump_id").is_not_null() & pl.col("speed_rpm").is_not_null())
        self._visits = rows_by(read.sort("pump_id", "day_local", "speed_rpm"), "pump_id")

    def of_pump(self, pump: Row) -> Row:
        """What the template prints of one pump of the register."""
        pump_id = str(pump["pump_id"])
        record, speeds = self._records.get(pump_id), self._speeds.get(pump_id, [])
        return {
            "pictures": [Markup(self._picture(pump, "flow")), Markup(self._picture(pump, "power"))],
            "facts": self._facts(record) if record else [],
            "speeds": [self._speed_row(row) for row in speeds],
        }

    def _picture(self, pump: Row, quantity: str) -> str:
        pump_id, suffix = str(pump["pump_id"]), {"flow": "flow_m3h", "power": "power_w"}[quantity]
        label = for_people(0.0, quantity, self._units)[1]

        def shown(value: object) -> float:
            return float(for_people(value, quantity, self._units)[0])

        rows = self._curves.get(pump_id, [])
        curve: list[Band] = [
            (float(row["speed_rpm"]), *(shown(row[f"{suffix}_{bound}"]) for bound in _BOUNDS))
            for row in rows
            if all(row[f"{suffix}_{bound}"] is not None for bound in _BOUNDS)
        ]
        read = [
            (float(row["speed_rpm"]), shown(row[suffix]))
            for row in self._visits.get(pump_id, [])
            if row[suffix] is not None
        ]
        seen = [
            (float(row["speed_rpm"]), shown(row[f"{suffix}_mid"]))
            for row in self._speeds.get(pump_id, [])
            if row[f"{quantity}_source"] == "metered"
        ]
        name = {"flow": "Flow", "power": "Wire power"}[quantity]
        upright = self._no_flow(rows) if quantity == "flow" else self._knee(pump_id)
        return curve_picture(name, label, curve, read, seen, float(pump["full_speed_rpm"]), upright)

    def _no_flow(self, rows: list[Row]) -> Upright | None:
        """The highest speed of the grid that moves no water, where static head holds it back."""
        still = [float(row["speed_rpm"]) for row in rows if row["flow_m3h_mid"] == 0 and row["speed_rpm"] != 0]
        return Upright(max(still), f"no flow up to {wording.speed(max(still))}") if still else None

    def _knee(self, pump_id: str) -> Upright | None:
        knee = (self._records.get(pump_id) or {}).get("knee_speed_rpm_mid")
        return None if knee is None else Upright(float(knee), f"knee {wording.speed(float(knee))}")

    def _factor(self, row: Row, name: str) -> str:
        low, middle, high = (for_people(row[f"{name}_{bound}"], "energy factor", self._units)[0] for bound in _BOUNDS)
        unit = for_people(0.0, "energy factor", self._units)[1]
        return f"{wording.number(middle, 1)}{wording.NO_BREAK}{unit} ({wording.span(low, high, 1)})"

    def _facts(self, record: Row) -> list[tuple[str, str]]:
        return [
            ("Best sustained energy factor", self._best(record)),
            ("Knee speed, below which slower costs more per litre", _knee_words(record)),
            ("Weighted energy factor on its own system", self._weighted(record)),
        ]

    def _best(self, record: Row) -> str:
        if record["best_state"] != "given":
            return f"none: {_BEST_WHY.get(str(record['best_state']), record['best_state'])}"
        held = wording.hours(record["best_longest_min"])
        return f"{self._factor(record, 'best_factor_m3kwh')} at {wording.speed(record['best_speed_rpm'])}, held {held}"

    def _weighted(self, record: Row) -> str:
        state = str(record["weighted_state"])
        points = " and ".join(
            f"{name} {wording.quantity(record[f'{name}_flow_m3h'], 'flow', self._units)}{self._at(record, name)}"
            for name in ("low", "high")
            if record["low_flow_m3h"] is not None
        )
        if state == "given":
            return f"{self._factor(record, 'weighted_factor_m3kwh')}, from the test points {points}"
        known = points and state.startswith(("low", "high", "neither"))
        return f"none: {state}{'; the test points would be ' + points if known else ''}"

    def _at(self, record: Row, name: str) -> str:
        at = record[f"{name}_speed_rpm"]
        return f" at {wording.speed(at)}" if at is not None else ""

    def _speed_row(self, row: Row) -> Row:
        def between(name: str, quantity: str, decimals: int) -> str:
            ends = [for_people(row[f"{name}_{bound}"], quantity, self._units)[0] for bound in ("lo", "hi")]
            return wording.span(ends[0], ends[1], decimals)

        share_lo, share_hi = row["wire_to_water_lo"], row["wire_to_water_hi"]
        return {
            "speed_rpm": row["speed_rpm"],
            "ran": wording.hours(row["run_min"]),
            "flow": between("flow_m3h", "flow", 1),
            "flow_source": row["flow_source"],
            "power": between("power_w", "power", 0),
            "power_source": row["power_source"],
            "factor": between("energy_factor_m3kwh", "energy factor", 1),
            "share": "unknown" if share_lo is None else f"{share_lo * 100:.0f} to {share_hi * 100:.0f} %",
            "gate": row["gate"],
            "sentence": row["sentence"],
        }


_BEST_WHY = {
    "no flow source": "no flow source, so no volume and no energy factor",
    "no wire power": "its wire power is not known at any speed it held",
    "not possible by physics": "more power would reach the water than the wire brings; see the table",
}


_KNEE_WHY = {
    "none within the speeds seen": "none within the speeds seen: the slowest of them costs least, or too little more",
    "above the speeds seen": "above the speeds seen: every slower one of them costs more per litre",
    "cannot tell within the flow band": "cannot tell: the low and the high end of the flow estimate disagree",
    "flow or power curve missing": "not known: it takes a flow and a power curve",
    "not possible by physics": "not given: more power would reach the water than the wire brings; see the table",
}


def _knee_words(record: Row) -> str:
    rest = record["standby_w"]
    standby = "" if rest is None else f"; its {wording.number(rest, 1)} W at rest are taken off"
    state = str(record["knee_state"])
    if state != "given":
        return _KNEE_WHY.get(state, f"not known: {state}")
    low, middle, high = (record[f"knee_speed_rpm_{bound}"] for bound in _BOUNDS)
    ends = "" if low == high else f" ({wording.span(low, high, 0)})"
    return f"{wording.speed(middle)}{ends}{standby}"


def _thinned(grid: pl.DataFrame) -> pl.DataFrame:
    """Rows of the grid that a curve is drawn through: every ``STEP_RPM``, and each end of what is known or still."""
    rows = grid.sort("pump_id", "speed_rpm")
    ends = [
        pl.col(name).is_null() != pl.col(name).is_null().shift(step).over("pump_id")
        for name in ("flow_m3h_mid", "power_w_mid")
        for step in (1, -1)
    ]
    still = (pl.col("flow_m3h_mid") == 0) != (pl.col("flow_m3h_mid") == 0).shift(-1).over("pump_id")
    return rows.filter(
        (pl.col("speed_rpm") % STEP_RPM == 0)
        | pl.any_horizontal(*ends, still).fill_null(False)
        | (pl.col("speed_rpm") == pl.col("speed_rpm").max().over("pump_id"))
    )
