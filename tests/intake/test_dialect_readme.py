"""The README's dialects hold and fit the exports printed above them; its table names every field of the schema."""

from __future__ import annotations

import csv
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from dialect_texts import read

from pumpledger.intake.dialect import Dialect
from pumpledger.intake.dialect_file import dialect_schema

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
SECTION = README.split("\n## Declare your own export\n")[1].split("\n## ")[0]
EXAMPLES = re.findall(r"```\n([^`]*?)```\n\n```toml\n(.*?)```", SECTION, re.DOTALL)
"""(export, dialect) as printed."""


def rows_of(export: str, dialect: Dialect) -> list[dict[str, str]]:
    """The rows as Python's csv module reads them, by column."""
    lines = export.splitlines()
    header = dialect.names or next(csv.reader([lines[dialect.preamble_lines]], delimiter=dialect.delimiter))
    rows = [line for line in lines[dialect.header_lines :] if not (dialect.footer and line.startswith(dialect.footer))]
    return [dict(zip(header, row, strict=True)) for row in csv.reader(rows, delimiter=dialect.delimiter)]


def value(text: str, dialect: Dialect, quantity: str) -> float:
    plain = text.replace(dialect.thousands or "\0", "").replace(dialect.decimal, ".")
    return float(plain) * dialect.scale[quantity] + dialect.shift[quantity]


def example(about: str) -> tuple[Dialect, list[dict[str, str]]]:
    ((export, text),) = [(export, text) for export, text in EXAMPLES if about in text]
    dialect = read(text)
    return dialect, rows_of(export, dialect)


def test_there_are_three_with_rows_and_one_without() -> None:
    assert len(EXAMPLES) == 3
    assert SECTION.count("```toml") == 4


def test_decimal_comma() -> None:
    dialect, rows = example("decimal comma")
    assert len(rows) == 2
    assert set(dialect.needed_columns) <= set(rows[0])
    assert datetime.strptime(rows[1][dialect.time_columns[0]], dialect.time_format) == datetime(2026, 10, 26, 0, 5)
    values = {name: value(rows[0][column], dialect, name) for name, column in dialect.columns.items()}
    assert values == pytest.approx({"speed": 1725, "power": 412, "run_total": 10234.5})
    assert (dialect.encoding, dialect.hold_s, rows[0][dialect.pump_column]) == ("windows-1252", 300, "P-12")


def test_wide() -> None:
    dialect, rows = example("one column a pump")
    stamp = " ".join(rows[0][column] for column in dialect.time_columns)
    assert datetime.strptime(stamp, dialect.time_format) == datetime(2026, 10, 26, 0, 15)
    by_pump = {dialect.pump_of_column(column): text for column, text in rows[0].items()}
    assert {pump: value(text, dialect, "power") for pump, text in by_pump.items() if pump} == pytest.approx(
        {"P-1": 412, "P-2": 152}  # 0.103 kWh and 0.038 kWh in a quarter of an hour
    )


def test_wide_by_header_as_the_comment_says() -> None:
    ((_, text),) = [(export, text) for export, text in EXAMPLES if "one column a pump" in text]
    dialect = read(re.sub(r"(?m)^columns = .*\n# (header = .*)$", r"\1", text))
    assert [dialect.pump_of_column(name) for name in ("P-1 kWh", "Date")] == ["P-1", None]


def test_without_header() -> None:
    dialect, rows = example("no header")
    assert [datetime.fromtimestamp(int(row["ms"]) / 1000, UTC).replace(tzinfo=None) for row in rows] == [
        datetime(2026, 10, 26, 7, 0),
        datetime(2026, 10, 26, 7, 1),
    ]
    assert value(rows[0][dialect.columns["speed"]], dialect, "speed") == pytest.approx(52.5 / 60 * 3450)
    assert rows[0][dialect.aux_column] in dialect.aux_on
    assert (dialect.pump_of("drive_S-7.csv"), dialect.pump_codes, dialect.header_lines) == ("S-7", "site", 0)


def test_espi() -> None:
    (text,) = [text for text in re.findall(r"```toml\n(.*?)```", SECTION, re.DOTALL) if "espi" in text]
    assert (read(text).carrier, read(text).pump_of("any.xml")) == ("espi", "P-3")


def fields_ofdialect_schema() -> set[str]:
    schema = dialect_schema()
    definitions = schema["$defs"]
    fields = {name for name, part in schema["properties"].items() if part.get("type") != "object"}
    for table in ("file", "time", "pump", "quantity"):
        fields |= {f"{table}.{name}" for name in definitions[table]["properties"]}
    extra = set(definitions["speed"]["properties"]) - {"column", "unit"}
    return fields | {f"quantity.speed.{name}" for name in extra}


def test_the_table_names_every_field() -> None:
    cells = [line.split(" | ")[0] for line in SECTION.splitlines() if line.startswith("| `")]
    assert [name for cell in cells for name in sorted(re.findall(r"`(.+?)`", cell))] == list(
        dict.fromkeys(name for cell in cells for name in sorted(re.findall(r"`(.+?)`", cell)))
    )
    assert {name for cell in cells for name in re.findall(r"`(.+?)`", cell)} == fields_ofdialect_schema()


def test_the_table_names_every_choice() -> None:
    """Units, labels and encodings of the schema stand in the row of their field."""
    definitions = dialect_schema()["$defs"]
    rows = {re.search(r"`(.+?)`", line)[1]: line for line in SECTION.splitlines() if line.startswith("| `")}
    for field in ("encoding", "quote", "decimal"):
        assert all(f"`{word}`" in rows[f"file.{field}"] for word in definitions["file"]["properties"][field]["enum"])
    assert all(f"`{word}`" in rows["time.label"] for word in definitions["time"]["properties"]["label"]["enum"])
    for name, part in definitions["quantity"]["properties"].items():
        units = definitions[part["$ref"].rsplit("/", 1)[-1]]["properties"]["unit"]["enum"] if "$ref" in part else []
        assert all(f"`{unit}`" in rows[f"quantity.{name}"] for unit in units)
