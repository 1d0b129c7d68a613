"""What must hold of any export, however spoiled: each data row accounted for once, each reading as the bytes say.

Belongs here: the conditions, checked against the bytes by Python's own csv, gzip, zipfile and strptime. `Finding` is
what a fuzzer reports; every other exception that comes out of the intake is one as well.
"""

from __future__ import annotations

import csv
import gzip
import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pyarrow as pa

from pumpledger.engine.database import Database
from pumpledger.engine.tables import READINGS
from pumpledger.intake.carriers import Member, members
from pumpledger.intake.dialect import QUANTITIES, Dialect
from pumpledger.intake.files import examine
from pumpledger.intake.known_pumps import KnownPumps
from pumpledger.intake.stage import Staged, stage
from pumpledger.intake.unreadable import Unreadable
from pumpledger.orchestration.session import Session
from tests.fuzz.corpus import ZONES

_COLUMN = dict(
    zip(
        QUANTITIES,
        ("speed_rpm", "power_w", "energy_total_kwh", "run_total_h", "flow_m3h", "air_temperature_c"),
        strict=True,
    )
)
csv.field_size_limit(1 << 30)  # how long a record may be is the intake's decision, not the csv module's


class Finding(AssertionError):
    """Something that must never happen."""


@dataclass(slots=True)
class Outcome:
    """What became of a file: rows by fate and by rule, or why it was set aside."""

    rows: Counter[str] = field(default_factory=Counter)
    rules: Counter[str] = field(default_factory=Counter)
    set_aside: list[str] = field(default_factory=list)


def judge(db: Database, path: Path, dialect: Dialect) -> Outcome:
    """Stage ``path`` and hold what comes out against its bytes.

    Raises:
        Finding: a row is lost, counted twice, or read as something else than it says.
    """
    outcome = Outcome()
    try:
        carried = members(path)
    except Unreadable as error:
        outcome.set_aside.append(_said(error))
        return outcome
    for member in carried:
        try:
            staged = staged_member(db, path, member, dialect)
        except Unreadable as error:
            outcome.set_aside.append(_said(error))
            continue
        _conserved(staged, _readings(staged))
        if dialect.carrier == "text":
            agrees_with_text(staged, _unpacked(path, member), dialect)
        outcome.rows.update(staged.fates)
        outcome.rules.update(dict(staged.refused.group_by("rule").len().iter_rows()))
    return outcome


def taken_twice(fleet: Path) -> None:
    """Take the inbox of ``fleet``, and again.

    Raises:
        Finding: sums do not hold, a file is not spoken of, an instant counts twice, or the second time finds work.
    """
    session = Session(fleet)
    outcome = session.take_inbox()
    exports = outcome.exports
    _must(not session.dialect_problems, f"dialects: {session.dialect_problems}")
    fates = exports.select(pl.sum_horizontal("readings", "duplicates", "quarantine", "rejects")).to_series()
    _must((exports["data_rows"] == fates).all(), "the rows of an export do not add up")
    spoken_of = {name.split("/")[0] for name in exports["file"]}
    _must(spoken_of == {path.name for path in (fleet / "inbox").iterdir()}, "a file is not on the ledger")
    lake, weeks = session.lake, session.lake.reading_weeks()
    held = [pl.read_parquet(path, glob=False) for week in weeks for path in lake.readings_files(week)]
    gone = [pl.read_parquet(path, glob=False) for week in weeks for path in lake.superseded_files(week)]
    readings = READINGS.conform(pl.concat(held)) if held else READINGS.empty()
    _must(readings.height == outcome.sums()["readings"], f"{readings.height} readings, {outcome.sums()}")
    if gone:
        keys = pl.concat(gone).select("pump_id", export_id="old_export_id", line="old_line")
        readings = readings.join(keys, on=["pump_id", "export_id", "line"], how="anti")
    # Two sources are two instruments; within one, an instant of a pump stands once.
    source = readings.join(exports.select("export_id", "source"), on="export_id").unique(
        ["export_id", "pump_id", "time_utc"]
    )
    _must(not source.select("source", "pump_id", "time_utc").is_duplicated().any(), "an instant of a pump counts twice")
    again = Session(fleet).take_inbox()
    _must(again.taken == [] and again.sums() == outcome.sums(), f"a second run takes {again.taken[:5]}")


def _said(error: Unreadable) -> str:
    problem = error.problem
    _must(bool(problem.name and problem.sentence and problem.file), f"a file set aside without a word: {problem}")
    return problem.name


def staged_member(db: Database, path: Path, member: Member, dialect: Dialect) -> Staged:
    """``member`` of ``path`` as the intake stages it, with the pumps of the corpus in the register."""
    zone = pl.DataFrame(list(ZONES.items()), schema={"pump_id": pl.String, "zone": pl.String}, orient="row")
    none = pl.DataFrame(schema={"site_id": pl.String, "pump_id": pl.String})
    if member.fault is not None:
        raise Unreadable(member.fault)
    export = examine(path, member)
    export = type(export)(
        **{name: getattr(export, name) for name in export.__slots__} | {"pump": dialect.pump_of(member.inner)}
    )
    return stage(db, export, dialect, "fuzz", KnownPumps(zone, none), path.parent / "staging")


def _readings(staged: Staged) -> pl.DataFrame:
    frames = [pl.read_parquet(path, glob=False) for path in sorted(staged.folder.glob("*.parquet"))]
    return READINGS.conform(pl.concat(frames)) if frames else READINGS.empty()


def _must(holds: bool, what: str) -> None:
    if not holds:
        raise Finding(what)


def _conserved(staged: Staged, readings: pl.DataFrame) -> None:
    _must(sum(staged.fates.values()) == staged.data_rows, f"{staged.data_rows} rows, fates {staged.fates}")
    _must(readings.height == staged.fates["readings"], f"{readings.height} readings, fates {staged.fates}")
    _must(readings.height == staged.extents["rows"].sum(), "extents do not add up to the readings")
    _must(staged.refused.height == staged.data_rows - readings.height, "refused rows are missing")
    _must(not readings.select("pump_id", "time_utc").is_duplicated().any(), "an instant of a pump stands twice")
    _must(set(readings["pump_id"]) <= set(ZONES), "a pump that is not in the register has readings")
    refused = staged.refused
    _must(set(refused["fate"]) <= {"duplicates", "quarantine", "rejects"}, f"fates {set(refused['fate'])}")
    _must(
        not refused.select("rule", "reason", "raw").null_count().sum_horizontal().sum(), "a refused row without words"
    )
    _must(refused["reason"].str.ends_with(".").all(), "a reason that is no sentence")


def _unpacked(path: Path, member: Member) -> bytes:
    """The member's bytes by the standard library's own decoders."""
    content = path.read_bytes()
    if member.kind == "gzip":
        return gzip.decompress(content)
    if member.kind == "zstd":
        return pa.input_stream(io.BytesIO(content), compression="zstd").read()
    if member.kind == "zip":
        with zipfile.ZipFile(path) as archive:
            return archive.read(next(info for info in archive.infolist() if info.filename.endswith(member.inner)))
    return content


def agrees_with_text(staged: Staged, content: bytes, dialect: Dialect) -> None:
    """Hold a staged text export against the bytes it was read from.

    Raises:
        Finding: they do not agree.
    """
    readings = _readings(staged)
    lines = dict(_lines(content, dialect))
    data = [
        number
        for number, text in lines.items()
        if number > dialect.header_lines and text.strip() and not (dialect.footer and text.startswith(dialect.footer))
    ]
    counted = Counter([*readings["line"], *staged.refused["line"]])
    each = staged.data_rows // len(data) if data else 1
    _must(staged.data_rows == each * len(data), f"{staged.data_rows} rows of {len(data)} data lines")
    _must(staged.other_lines == len(lines) - len(data), f"{staged.other_lines} other lines of {len(lines)} lines")
    _must(counted == Counter(dict.fromkeys(data, each)), f"lines {sorted((Counter(data) - counted))[:5]} are lost")
    for line, raw in staged.refused.select("line", "raw").unique().iter_rows():
        shown = lines[line][:2000].encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        _must(raw == shown, f"line {line} goes back as {raw[:80]!r}, it is {shown[:80]!r}")
    if not readings.is_empty():
        _values(readings, lines, dialect)


def _lines(content: bytes, dialect: Dialect) -> Iterator[tuple[int, str]]:
    """Physical lines, which end at line feeds alone."""
    errors = "surrogateescape" if dialect.encoding == "utf-8" else "replace"
    text = io.TextIOWrapper(io.BytesIO(content), dialect.encoding, errors, newline="\n").read()
    lines = text.split("\n")
    for number, line in enumerate(lines if lines[-1] else lines[:-1], start=1):
        raw = line.rstrip("\r")
        yield number, raw.removeprefix("\ufeff") if number == 1 else raw


def _values(readings: pl.DataFrame, lines: dict[int, str], dialect: Dialect) -> None:
    """Every quantity and, where the stamp is an instant by itself, the time of every reading."""
    form = {"delimiter": dialect.delimiter, "strict": True}
    form |= {"quotechar": dialect.quote} if dialect.quote else {"quoting": csv.QUOTE_NONE}
    header = list(dialect.names or next(csv.reader([lines[dialect.header_lines]], **(form | {"strict": False}))))
    header = [name.strip() for name in header]
    for row in readings.iter_rows(named=True):
        (cells,) = csv.reader([lines[row["line"]]], **form)
        cells = cells if any(cells[len(header) :]) else cells[: len(header)]
        _must(len(cells) == len(header), f"line {row['line']} has {len(cells)} cells and is a reading")
        named = dict(zip(header, cells, strict=True))
        for quantity, column in dialect.columns.items():
            at = column or next(name for name in header if dialect.pump_of_column(name) == row["pump_id"])
            _same_number(row, quantity, named[at].strip(), dialect)
        if dialect.zone in ("utc", "offset") and len(dialect.time_columns) == 1:
            _same_instant(row, named[dialect.time_columns[0]].strip(), dialect)


def _same_number(row: dict[str, object], quantity: str, cell: str, dialect: Dialect) -> None:
    value = row[_COLUMN[quantity]]
    if not cell:
        _must(value is None, f"line {row['line']}: an empty {quantity} is {value}")
        return
    mark, point = re.escape(dialect.thousands or ""), re.escape(dialect.decimal)
    plain = re.sub(mark, "", cell) if mark else cell
    plain = re.sub(r"(?<=\d)_(?=\d)", "", plain)  # DuckDB's way to group digits, which no logger writes otherwise
    _must(
        bool(re.fullmatch(rf"[+-]?(\d+({point}\d*)?|{point}\d+)([eE][+-]?\d+)?", plain)), f"{cell!r} is read as {value}"
    )
    said = float(plain.replace(dialect.decimal, ".")) * dialect.scale.get(quantity, 1.0) + dialect.shift.get(
        quantity, 0.0
    )
    _must(
        value is not None and abs(value - said) <= 1e-9 * max(1.0, abs(said)), f"{cell!r} is read as {value}, is {said}"
    )


def _same_instant(row: dict[str, object], cell: str, dialect: Dialect) -> None:
    if dialect.epoch:
        unit = 1 if dialect.time_format == "epoch_s" else 1000
        at = datetime(1970, 1, 1) + timedelta(seconds=int(cell) / unit)
    else:
        try:
            whole_hours = re.fullmatch(r".*[+-]\d\d", cell) is not None and dialect.time_format.endswith("%z")
            at = datetime.strptime(f"{cell}00" if whole_hours else cell, dialect.time_format)  # ISO 8601 has +hh, too
        except ValueError:
            raise Finding(f"the stamp {cell!r} is read as {row['time_utc']}, and strptime refuses it") from None
        at = at.astimezone(UTC).replace(tzinfo=None) if at.tzinfo else at
    at -= timedelta(seconds=int(dialect.interval_s or 0) if dialect.label == "interval_ending" else 0)
    _must(row["time_utc"] == at, f"the stamp {cell!r} is read as {row['time_utc']}, is {at}")
