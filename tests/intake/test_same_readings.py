"""However an export is cut, shuffled, sent again, packed and named, the readings are the same (hypothesis)."""

from __future__ import annotations

import gzip
import io
import tempfile
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_fleet import SAMPLES, Fleet

_START = datetime(2026, 10, 31, 20)
"""UTC; the hours in which America/Los_Angeles and Europe/Berlin are as far apart as they get."""


def line(pump: str, number: int) -> str:
    moment = _START + timedelta(minutes=5 * number)
    return f"{moment:%Y-%m-%dT%H:%M:%SZ},{pump},{600 + 25 * (number % 7)},{40 + number % 13}.5,{number % 2}\n"


ROWS = [line(pump, number) for number in range(120) for pump in ("P-LA", "P-LA2", "P-BE")]


def packed(name: str, text: str, how: str) -> tuple[str, bytes]:
    content = text.encode()
    if how == "gz":
        return f"{name}.gz", gzip.compress(content, mtime=0)
    if how == "zst":
        sink = pa.BufferOutputStream()
        with pa.CompressedOutputStream(sink, "zstd") as stream:
            stream.write(content)
        return f"{name}.zst", sink.getvalue().to_pybytes()
    if how == "zip":
        sink = io.BytesIO()
        with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(name, content)
        return f"{name.removesuffix('.csv')}.zip", sink.getvalue()
    return name, content


@st.composite
def ways(draw: st.DrawFn) -> list[list[tuple[str, bytes]]]:
    """Days on which files arrive: each some (name, bytes)."""
    rows = draw(st.permutations(ROWS)) if draw(st.booleans()) else ROWS
    cuts = sorted(draw(st.lists(st.integers(0, len(rows)), max_size=4)))
    parts = [rows[a:b] for a, b in zip([0, *cuts], [*cuts, len(rows)], strict=True)]
    if draw(st.booleans()):  # sent again, with an overlap
        first = draw(st.integers(0, len(rows) - 1))
        parts.append(rows[first : first + draw(st.integers(1, 200))])
    files = []
    for number, part in enumerate(draw(st.permutations(parts))):
        if part:
            how = draw(st.sampled_from(["plain", "gz", "zst", "zip"]))
            files.append(packed(f"five_{number}.csv", SAMPLES + "".join(part), how))
    days = draw(st.integers(1, 3))
    return [files[day::days] for day in range(days)]


def readings(days: list[list[tuple[str, bytes]]]) -> list[tuple[object, ...]]:
    with tempfile.TemporaryDirectory() as root:
        fleet = Fleet(Path(root) / "fleet")
        for files in days:
            for name, content in files:
                fleet.put(name, content)
            fleet.ingest()  # asserts conservation
        return fleet.values()


def test_the_same_readings_however_they_arrive() -> None:
    whole = readings([[("five_a.csv", (SAMPLES + "".join(ROWS)).encode())]])
    assert len(whole) == len(ROWS)

    @given(ways())
    @settings(max_examples=12, deadline=None, derandomize=True, database=None)
    def check(days: list[list[tuple[str, bytes]]]) -> None:
        assert readings(days) == whole

    check()
