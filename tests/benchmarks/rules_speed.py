"""Processor time of all rules together over a large fleet, and whether it grows linearly.

    python tests/benchmarks/rules_speed.py                      # makes and reviews 48 made-up sites of 8 weeks first
    python tests/benchmarks/rules_speed.py --fleet FOLDER --slowest 12

The tables that the newest week's rules read (spans of two weeks, what eight weeks came to) are copied under new names
until there are enough sites, as the sources of a large fleet are few, these stay. Aim: under 20 s for 1,000 sites on two
cores, and twice the sites for at most about twice the time. A loaded machine shows in the wall time, hardly in the
processor's.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pumpledger.diagnosis import run
from pumpledger.diagnosis.rules.rule import Rule
from pumpledger.engine.database import Database
from pumpledger.engine.tables import SPANS
from pumpledger.orchestration.run import run_review
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.steps import days_of_findings, load_for_findings
from pumpledger.profile.calendar import week_days
from pumpledger.simulator.fleet import make_fleet

_NAMED = ("site_id", "pump_id", "component")


def tables_of(session: Session, week: str) -> dict[str, pl.DataFrame]:
    """Every table that the rules may read, by name."""
    with session.database(days_of_findings(week)) as db:
        load_for_findings(db, session, week)
        names = [
            name for (name,) in db.connection.execute("select table_name from information_schema.tables").fetchall()
        ]
        return {name: db.table(name) for name in names}


def copied(tables: Mapping[str, pl.DataFrame], sites: int) -> dict[str, pl.DataFrame]:
    """``tables`` with the sites under new names, over and over, until there are ``sites``."""
    own = tables["site"]["site_id"].sort().to_list()
    of_pump = dict(tables["pump"].select("pump_id", "site_id").iter_rows())
    chosen: list[dict[str, str]] = []
    for copy in range(-(-sites // len(own))):
        kept = set(own[: sites - copy * len(own)])
        names = [*kept, *(pump for pump, site in of_pump.items() if site in kept)]
        chosen.append({name: f"{name}-{copy:03d}" for name in names})
    return {name: _copied(frame, chosen, {*own, *of_pump}) for name, frame in tables.items()}


def _copied(frame: pl.DataFrame, chosen: list[dict[str, str]], known: set[str]) -> pl.DataFrame:
    columns = [name for name in _NAMED if name in frame.columns]
    if not columns:
        return frame
    # Rows of a source, or of no site, stand once.
    is_named = pl.any_horizontal(pl.col(name).is_in(list(known)) for name in columns).fill_null(False)
    parts = [frame.filter(~is_named)]
    for names in chosen:
        mine = frame.filter(pl.any_horizontal(pl.col(name).is_in(list(names)) for name in columns).fill_null(False))
        parts.append(mine.with_columns(pl.col(name).replace(names) for name in columns))
    return pl.concat(parts)


class Watch:
    """Processor seconds by rule, and of what all rules share."""

    def __init__(self) -> None:
        self.spent: Counter[str] = Counter()

    def evidence(self, rule: Rule, db: Database, values: Mapping[str, float]) -> pl.DataFrame:
        """`Rule.evidence`, timed."""
        begun = time.process_time()
        rows = rule.find(db, values) if rule.find else db.query(f"diagnosis/rule_{rule.id.lower()}", dict(values))
        self.spent[rule.id] += time.process_time() - begun
        return rows


def timed(tables: Mapping[str, pl.DataFrame], week: str, watch: Watch) -> tuple[float, float]:
    """Wall and processor seconds of one week's diagnosis over ``tables``."""
    with Database(threads=2) as db:
        for name, frame in tables.items():
            db.load(name, frame)
        plain = Rule.evidence
        Rule.evidence = lambda rule, db, values: watch.evidence(rule, db, values)  # type: ignore[method-assign]
        try:
            wall, spent = time.perf_counter(), time.process_time()
            run.diagnose(db, week, week_days(week)[6])
            return time.perf_counter() - wall, time.process_time() - spent
        finally:
            Rule.evidence = plain  # type: ignore[method-assign]


def main() -> None:
    """Parse, time, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleet", type=Path, help="a reviewed fleet folder; made anew where none is named")
    parser.add_argument("--sites", type=int, nargs="+", default=[250, 500, 1000])
    parser.add_argument("--slowest", type=int, default=8)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="rules_speed_") as parent:
        folder = asked.fleet
        if folder is None:
            folder = Path(parent) / "fleet"
            make_fleet(folder, 48, 8, 7, faults="all")
            run_review(folder)
        session = Session(folder)
        week = session.lake.weeks(SPANS)[-1]
        tables = tables_of(session, week)
    spent: dict[int, float] = {}
    for sites in asked.sites:
        watch = Watch()
        fleet = copied(tables, sites)
        wall, spent[sites] = timed(fleet, week, watch)
        print(
            f"{sites:,} sites, {fleet['span'].height:,} spans: {spent[sites]:.1f} s of processor, {wall:.1f} s on the wall"
        )
        rules = sum(watch.spent.values())
        print(f"  rules {rules:.1f} s, what they share {spent[sites] - rules:.1f} s; slowest: "
              + ", ".join(f"{name} {seconds:.2f}" for name, seconds in watch.spent.most_common(asked.slowest)))  # fmt: skip
    for sites in asked.sites:
        if sites // 2 in spent:
            print(f"{sites:,} sites take {spent[sites] / spent[sites // 2]:.2f} times as long as {sites // 2:,}")


if __name__ == "__main__":
    main()
