"""What to say of a logger's clock: rows around a change of clocks, and steps at which the clock was set.

Belongs here: which exports are looked through, and the words. Nothing here changes a row: what the rows prove is in
``clock_state`` and ``time_fault`` already.
"""

from __future__ import annotations

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.intake.dialect import Dialect
from pumpledger.intake.late_clock import EARLY, LATE, NOT_SURE
from pumpledger.intake.row_order import Rhythm, in_order
from pumpledger.problems import Problem

WARNINGS: dict[str, tuple[str, str]] = {
    state: (name, " ".join(sentence.split()))
    for state, name, sentence in (
        (
            "twice, first taken",
            "repeated_hour",
            """lie in the hour that the clock repeats, and their order does not tell which pass; they are taken as the
            first. Export in UTC or with the offset""",
        ),
        (
            LATE,
            "clock_set_late",
            """run on by the old clock after the change of clocks, and are placed by it; set the logger's clock to
            follow its zone, or export in UTC""",
        ),
        (
            EARLY,
            "clock_set_early",
            """run by the new clock before the change of clocks, and are placed by it; set the logger's clock to follow
            its zone, or export in UTC""",
        ),
        (
            NOT_SURE,
            "clock_set_unsure",
            """follow a change of clocks that the logger may not have made in time, and do not prove when its clock was
            set; look at the logger's clock, and export in UTC or with the offset""",
        ),
    )
}
"""``clock_state`` of a row -> problem name, and what to say after the number of such rows."""

SLACK_MIN = 10.0
"""Clock and counter must disagree by more [min], and by more than ``SLACK_SHARE`` of the step."""
SLACK_SHARE = 0.05
MOST_NOTES = 20
"""Notes of one kind that a pump gets from one export; ``steps`` counts all."""

_SCHEMA = {
    "pump_id": pl.String,
    "kind": pl.String,
    "sureness": pl.String,
    "line_before": pl.Int64,
    "line": pl.Int64,
    "time_before_utc": pl.Datetime("us"),
    "time_utc": pl.Datetime("us"),
    "clock_min": pl.Float64,
    "run_min": pl.Float64,
    "energy_min": pl.Float64,
    "set_min": pl.Float64,
    "steps": pl.Int64,
}


def clock_counts(db: Database) -> dict[str, int]:
    """Readings in ``judged_row`` by what was told of their clock."""
    return dict(db.query("intake/clock_states").iter_rows())


def clock_problems(counts: dict[str, int], file: str) -> list[Problem]:
    """Warnings of an export some of whose readings (`clock_counts`) stand beside a change of clocks that is not
    plain."""
    return [
        Problem(name, f"{counts[state]} rows {text}", "warns", file)
        for state, (name, text) in WARNINGS.items()
        if state in counts
    ]


def clock_notes(db: Database, dialect: Dialect) -> pl.DataFrame:
    """Steps between readings of the export in ``judged_row`` at which a clock was set, or time steps back.

    Columns as ``clock_note.sql`` gives them. An export in order and without counters has none, and is not looked
    through.
    """
    if not {"run_total", "energy_total"} & dialect.columns.keys() and in_order(db, "intake/judged_stamp"):
        return pl.DataFrame(schema=_SCHEMA)
    rhythm = Rhythm.of(dialect)
    found = db.query(
        "intake/clock_note",
        {
            "interval_s": rhythm.interval_s,
            "tolerance_s": rhythm.tolerance_s,
            "slack_min": SLACK_MIN,
            "slack_share": SLACK_SHARE,
            "most": MOST_NOTES,
        },
    )
    return found.select(pl.col(name).cast(kind) for name, kind in _SCHEMA.items())


def note_problems(notes: pl.DataFrame, file: str) -> list[Problem]:
    """What `clock_notes` found in an export, as one warning a kind with its first step in words."""
    found = []
    for kind in notes["kind"].unique().sort():
        of_kind = notes.filter(kind=kind).sort("time_utc", "pump_id")
        steps = of_kind.unique("pump_id")["steps"].sum()
        more = f"; {steps} such steps in all" if steps > 1 else ""
        first = of_kind.row(0, named=True)
        found.append(Problem(f"clock_{kind.split()[-1]}", f"{sentence(first)}{more}", "warns", file, first["line"]))
    return found


def sentence(note: dict[str, object]) -> str:
    """A row of `clock_notes`, for people."""
    where = f"pump {note['pump_id']}, lines {note['line_before']} to {note['line']}: "
    if note["kind"] == "rows step back":
        return (
            where
            + f"the time steps back by {-float(note['clock_min']):.0f} min: rows out of order, or a clock that was set back"
        )
    counters = {"run-hour counter": note["run_min"], "energy counter": note["energy_min"]}
    counted = " and ".join(f"the {name} {minutes:.0f} min" for name, minutes in counters.items() if minutes is not None)
    way = "back" if note["kind"] == "clock set back" else "forward"
    doubt = {"sure": "", "likely": "likely ", "possible": "possibly "}[str(note["sureness"])]
    other = "" if way == "back" else ", unless the pump stood in between"
    return (
        f"{where}{float(note['clock_min']):.0f} min by the clock, but {counted}: the clock was {doubt}set {way} by "
        f"{abs(float(note['set_min'])):.0f} min{other}"
    )
