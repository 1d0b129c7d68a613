"""Same input, same bytes; nothing new, no work; the same readings in other files, the same numbers."""

from __future__ import annotations

import csv
from collections import defaultdict
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from pumpledger.orchestration import steps
from pumpledger.orchestration.run import run_review
from pumpledger.orchestration.session import Session
from tests.demo_fleet import copy_of_demo

TABLE_STEPS = (
    steps.make_verdicts,
    steps.make_spans,
    steps.make_daily,
    steps.make_savings,
    steps.make_schedule,
    steps.make_site_weeks,
)
"""All that the accounts rest on: no findings, no pages."""


def contents(folder: Path, *parts: str) -> dict[str, bytes]:
    root = folder.joinpath(*parts)
    return {str(path.relative_to(root)): path.read_bytes() for path in sorted(root.rglob("*")) if path.is_file()}


def test_a_second_fleet_of_the_same_files_gives_the_same_bytes(reviewed, tmp_path: Path) -> None:
    first = reviewed[0]
    second = copy_of_demo(tmp_path / "fleet")
    run_review(second)
    assert contents(first, "reports") == contents(second, "reports")
    tables = (
        "readings",
        "refused",
        "spans",
        "profile",
        "daily",
        "savings",
        "best_plans",
        "findings",
        "actions",
        "site_weeks",
    )
    for table in tables:
        assert contents(first, "lake", table) == contents(second, "lake", table), table


def test_nothing_new_does_no_work(reviewed) -> None:
    folder, first = reviewed
    before = {path: path.stat().st_mtime_ns for path in (folder / "reports").rglob("*")}
    again = run_review(folder)
    assert (again.taken, again.built) == ([], [])
    assert again.sums == first.sums and again.summary == first.summary
    assert {path: path.stat().st_mtime_ns for path in (folder / "reports").rglob("*")} == before


def test_a_week_in_daily_files_gives_the_same_numbers(reviewed, tmp_path: Path) -> None:
    """The 5-minute exports of the coast, cut at UTC midnight; names and line numbers differ, every account is the
    same."""
    folder = copy_of_demo(tmp_path / "fleet")
    for path in sorted((folder / "inbox").glob("coast_*.csv")):
        split_by_day(path)
        path.unlink()
    session = Session(folder)
    session.take_inbox()
    for week in session.ready_weeks():
        for step in TABLE_STEPS:
            step(session, week)
    session.close()
    for table in ("spans", "profile", "daily", "savings", "best_plans", "site_weeks"):
        assert contents(folder, "lake", table) == contents(reviewed[0], "lake", table), table


def split_by_day(path: Path) -> None:
    """Write a file per UTC day and keep its rows in order; rows that carry no day go with the first."""
    text = path.read_text(encoding="utf-8-sig")
    header, *rows = text.splitlines()
    days: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        if row.strip():
            stamp = next(csv.reader([row]))[0]
            days[stamp[:10] if stamp[:2] == "20" else "first"].append(row)
    for day, lines in days.items():
        name = f"{path.stem}_part_{day}".replace("coast_", "coast_split_", 1)
        path.with_name(f"{name}.csv").write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")


def test_the_clock_change_day_of_the_demo_has_25_hours(reviewed) -> None:
    """Facts: local-day lengths by the IANA time zone database."""
    zone = ZoneInfo("America/Los_Angeles")
    hours = (datetime(2026, 11, 2, tzinfo=zone).timestamp() - datetime(2026, 11, 1, tzinfo=zone).timestamp()) / 3600
    assert hours == 25
    page = (reviewed[0] / "reports" / "2026-W44" / "daily.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(page.splitlines()) if row["day_local"] == "2026-11-01"]
    assert rows and {float(row["day_min"]) for row in rows} == {hours * 60}
