"""Checks of the register that no single cell shows: keys, references between files, plans that overlap, curves that
rise.

Belongs here: pure functions from rows to problems. Each problem names the file and line, and the site it sets aside.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable

from pumpledger.problems import Problem

Row = dict[str, object]


def unique(rows: Iterable[Row], key: str, file: str) -> list[Problem]:
    """A key that stands twice: the later row is the fault, and the sites of both are set aside, because either may be
    the true one."""
    first: dict[object, Row] = {}
    problems = []
    for row in sorted(rows, key=lambda r: r["line"]):
        value = row[key]
        if value is None:
            continue
        earlier = first.setdefault(value, row)
        if earlier is row:
            continue
        sentence = f"{key} {value!r} already stands in line {earlier['line']}; give each its own row once"
        for site_id in dict.fromkeys([row["site_id"], earlier["site_id"]]):
            problems.append(Problem("key_twice", sentence, file=file, line=row["line"], column=key, site_id=site_id))
    return problems


def references(
    rows: Iterable[Row], key: str, known: set[object], file: str, target: str, severity: str = "disqualifies"
) -> list[Problem]:
    """Values of ``key`` that ``target`` does not hold."""
    return [
        Problem(
            "unknown_reference",
            f"{row[key]!r} is not in {target}; add it there or correct it here",
            severity,
            file,
            row["line"],
            key,
            row.get("site_id") if severity == "disqualifies" else None,
        )
        for row in rows
        if row[key] is not None and row[key] not in known
    ]


def plans(rows: Iterable[Row], site_of: dict[str, str]) -> list[Problem]:
    """Periods of one plan that share minutes, stand twice, or last no time; speeds off the 25 rpm grid are a
    warning."""
    problems = []
    by_plan: dict[tuple[str, object], list[Row]] = defaultdict(list)
    for row in rows:
        by_plan[(row["pump_id"], row["valid_from"])].append(row)
        if row["speed_rpm"] % 25:
            problems.append(
                Problem(
                    "speed_off_grid",
                    f"{row['speed_rpm']:g} rpm is not on the 25 rpm grid; the record may be wrong",
                    "warns",
                    "plans.csv",
                    row["line"],
                    "speed_rpm",
                )
            )
    for (pump_id, _), periods in by_plan.items():
        site_id = site_of.get(pump_id)
        taken: dict[int, Row] = {}
        numbers: dict[object, Row] = {}
        for row in sorted(periods, key=lambda r: r["line"]):
            if row["period"] in numbers:
                problems.append(
                    _plan_problem(
                        "period_twice",
                        f"period {row['period']} already stands in line {numbers[row['period']]['line']}",
                        row,
                        "period",
                        site_id,
                    )
                )
                continue
            numbers[row["period"]] = row
            start, stop = row["start_min"] % 1440, row["stop_min"]
            if start == stop % 1440 and (row["start_min"], stop) != (0, 1440):
                problems.append(
                    _plan_problem(
                        "period_empty",
                        "start and stop are the same; a whole day is 00:00 to 24:00",
                        row,
                        "stop",
                        site_id,
                    )
                )
                continue
            minutes = range(start, stop) if start < stop else [*range(start, 1440), *range(stop)]
            other = next((taken[minute] for minute in minutes if minute in taken), None)
            if other is not None:
                problems.append(
                    _plan_problem(
                        "periods_overlap",
                        f"overlaps period {other['period']} of line {other['line']}; a pump runs one period at a time",
                        row,
                        "start",
                        site_id,
                    )
                )
                continue
            taken.update(dict.fromkeys(minutes, row))
    return problems


def _plan_problem(name: str, sentence: str, row: Row, column: str, site_id: str | None) -> Problem:
    return Problem(
        name, f"pump {row['pump_id']}: {sentence}", file="plans.csv", line=row["line"], column=column, site_id=site_id
    )


def curves(rows: Iterable[Row], bad: Iterable[Row] = ()) -> tuple[set[str], list[Problem]]:
    """Names of curves that fall from shut-off as flow rises, and a problem for each of the others.

    A curve with a row among ``bad`` is unfit: without that point it is another curve.
    """
    by_curve: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_curve[row["curve"]].append(row)
    unread = {row["curve"]: row for row in bad if row["curve"] is not None}
    good: set[str] = set()
    problems = []
    for name in dict.fromkeys([*by_curve, *unread]):
        points = sorted(by_curve[name], key=lambda r: (r["flow_m3h"], r["line"]))
        fault = None
        if name in unread:
            fault = (unread[name], "holds a point that cannot be read")
        elif len(points) < 3:
            fault = (points[0], "needs at least three points")
        elif points[0]["flow_m3h"] != 0:
            fault = (points[0], "needs the head at no flow as its first point")
        elif len({point["speed_rpm"] for point in points}) > 1:
            fault = (points[1], "holds points of more than one speed; give each speed a curve of its own")
        else:
            rising = next(
                (
                    b
                    for a, b in zip(points, points[1:], strict=False)
                    if not (b["head_m"] < a["head_m"] and b["flow_m3h"] > a["flow_m3h"])
                ),
                None,
            )
            if rising:
                fault = (rising, "head must fall as flow rises")
        if fault:
            problems.append(
                Problem(
                    "curve_unfit",
                    f"curve {name!r} {fault[1]}; its pumps have no turnover until it is mended",
                    file="pump_curves.csv",
                    line=fault[0]["line"],
                )
            )
        else:
            good.add(name)
    return good, problems


def pairs(rows: Iterable[Row], file: str, groups: tuple[tuple[str, ...], ...]) -> list[Problem]:
    """Fields that are only of use together: a warning where some, not all, of a group are given."""
    problems = []
    for row in rows:
        for group in groups:
            given = [_shown(name) for name in group if row[name] is not None]
            if given and len(given) < len(group):
                missing = [_shown(name) for name in group if row[name] is None]
                problems.append(
                    Problem(
                        "half_given",
                        f"{', '.join(given)} is of no use without {', '.join(missing)}; give both or neither",
                        "warns",
                        file,
                        row["line"],
                        missing[0],
                    )
                )
    return problems


def _shown(name: str) -> str:
    """A column as the file has it: a clock is held inside as ``<name>_min``."""
    return re.sub(r"_(start|stop)_min$", r"_\1", name)


def windows(rows: Iterable[Row], file: str, names: tuple[str, ...]) -> list[Problem]:
    """Hours by the clock, ``<name>_start`` to ``<name>_stop``: a warning where they last no time, lie off the quarter
    hours that plans keep, or have a speed and no hours."""
    problems = []
    for row in rows:
        for name in names:
            start, stop = row[f"{name}_start_min"], row[f"{name}_stop_min"]
            fault = None
            if start is None and stop is None:
                if row.get(f"{name}_speed_rpm") is not None:
                    fault = ("half_given", f"{name}_speed_rpm is of no use without {name}_start and {name}_stop")
            elif start is not None and stop is not None:
                if start % 1440 == stop % 1440 and (start, stop) != (0, 1440):
                    fault = ("hours_empty", f"{name}_start and {name}_stop are the same; a whole day is 00:00 to 24:00")
                elif start % 15 or stop % 15:
                    fault = ("hours_off_grid", f"{name} hours are kept in whole quarter hours, those begun included")
            if fault:
                problems.append(Problem(fault[0], fault[1], "warns", file, row["line"], f"{name}_start"))
    return problems
