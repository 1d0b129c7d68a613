"""Tables conform or raise; the lake gives the same bytes for the same rows, whole or not at all."""

from __future__ import annotations

import random
from datetime import date, datetime

import polars as pl
import pytest

from pumpledger.engine.lake import Lake, write_parquet
from pumpledger.engine.tables import ALL, REFUSED, SPANS
from pumpledger.workspace import replace_folder, write_whole


def refused(lines: list[int]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            ("e", "a.csv", line, None, "rejects", "cannot_be_read", "The row has no time stamp.", f"raw {line}")
            for line in lines
        ],
        schema=REFUSED.schema,
        orient="row",
    )


@pytest.mark.parametrize("table", ALL, ids=lambda table: table.name)
def test_every_table_has_its_key_and_types(table) -> None:
    assert set(table.key) <= set(table.columns)
    empty = table.empty()
    assert table.conform(empty).schema == empty.schema == table.schema
    assert all(meaning for _, meaning in table.columns.values())


def test_conform_raises_on_missing_and_on_unknown_columns() -> None:
    rows = refused([2])
    with pytest.raises(ValueError, match=r"table refused: missing \['raw'\], unknown \[\]"):
        REFUSED.conform(rows.drop("raw"))
    with pytest.raises(ValueError, match=r"missing \[\], unknown \['colour'\]"):
        REFUSED.conform(rows.with_columns(colour=pl.lit("red")))


def test_conform_raises_on_values_of_another_type() -> None:
    with pytest.raises(pl.exceptions.InvalidOperationError):
        REFUSED.conform(refused([2]).with_columns(line=pl.lit("two")))


def test_conform_orders_columns_types_and_rows() -> None:
    rows = (
        refused([3, 1, 2])
        .select(pl.all().reverse())
        .select(reversed(REFUSED.columns))
        .with_columns(pl.col("line").cast(pl.Int16))
    )
    got = REFUSED.conform(rows)
    assert (got.schema, got["line"].to_list()) == (REFUSED.schema, [1, 2, 3])


def test_same_rows_same_bytes(tmp_path) -> None:
    rows = refused(list(range(500)))
    order = list(range(500))
    contents = set()
    for seed in range(4):
        random.Random(seed).shuffle(order)
        path = Lake(tmp_path / str(seed)).write(REFUSED, "2026-W44", rows[order])
        contents.add(path.read_bytes())
    assert len(contents) == 1


def test_rows_come_back_as_they_were(tmp_path) -> None:
    lake = Lake(tmp_path)
    row = dict.fromkeys(SPANS.columns) | {
        "site_id": "S",
        "pump_id": "P",
        "day_local": date(2026, 11, 1),
        "start_utc": datetime(2026, 11, 1, 7),
        "end_utc": datetime(2026, 11, 1, 7, 0, 0, 1),
        "duration_min": 0.1 + 0.2,
        "kind": "run",
    }
    rows = pl.DataFrame([row], schema=SPANS.schema)
    lake.write(SPANS, "2026-W44", rows)
    assert lake.read(SPANS, "2026-W44").equals(rows)
    assert lake.read(SPANS, "2026-W45").equals(SPANS.empty())


def test_reading_files_by_week(tmp_path) -> None:
    lake = Lake(tmp_path)
    for week, name in (("2026-W44", "b"), ("2026-W44", "a"), ("2027-W01", "c")):
        write_parquet(lake.readings_folder(week) / f"{name}.parquet", refused([1]))
    (lake.readings_folder("2026-W50")).mkdir()
    assert lake.reading_weeks() == ["2026-W44", "2027-W01"]
    assert [path.stem for path in lake.readings_files("2026-W44")] == ["a", "b"]


def test_a_stopped_write_leaves_what_was_there(tmp_path, monkeypatch) -> None:
    path = tmp_path / "a" / "x"
    write_whole(path, b"first")
    monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        write_whole(path, b"second")
    with pytest.raises(KeyboardInterrupt):
        write_parquet(path, refused([1]))
    assert path.read_bytes() == b"first"


def test_folder_is_replaced_whole(tmp_path) -> None:
    for name, file in (("new", "b"), ("there", "a")):
        (tmp_path / name).mkdir()
        (tmp_path / name / file).touch()
    replace_folder(tmp_path / "new", tmp_path / "there")
    assert sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*")) == ["there", "there/b"]
