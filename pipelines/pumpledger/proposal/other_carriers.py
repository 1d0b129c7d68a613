"""Exports that are no text: Parquet, whose columns have types, and ESPI XML, which says all but whose it is.

Belongs here: telling them by their bytes and making a table of the first. What the columns mean is judged as for text.
"""

from __future__ import annotations

import re
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from pumpledger.proposal.claim import Claim, Proposal, refuse
from pumpledger.proposal.file_names import file_name_claims
from pumpledger.proposal.known_codes import KnownCodes
from pumpledger.proposal.sample import Sample
from pumpledger.proposal.table import Table

_ROWS_MOST = 20_000
_ESPI = b"http://naesb.org/espi"
"""The namespace of NAESB ESPI (facts 7.2)."""


def is_espi(sample: Sample) -> bool:
    """Whether the head is XML that names the ESPI namespace."""
    head = sample.head.lstrip(b"\xef\xbb\xbf \r\n\t")
    return head.startswith(b"<") and _ESPI in head


def is_parquet(sample: Sample) -> bool:
    """By the magic number of Parquet."""
    return sample.head.startswith(b"PAR1")


def espi_proposal(samples: list[Sample], known: KnownCodes) -> Proposal:
    """ESPI needs no columns: a reading has its own start, duration and unit. Only whose it is stays open."""
    lengths = sorted({int(found) for sample in samples for found in re.findall(rb"duration>(\d{1,8})<", sample.head)})
    usual = max(lengths, default=0)
    told = "each reading has its own duration" + (f", such as {usual} s; three of them" if usual else "")
    gap = Claim(
        "time.gap_limit_s", min(3 * usual, 691_200) if usual else None, "likely" if usual else "cannot tell", told
    )
    inner = [sample.inner for sample in samples]
    read = f"the first {max(len(sample.head) for sample in samples):,} bytes"
    about = "Energy of intervals in NAESB ESPI XML; proposed from sample files."
    claims = [gap, *file_name_claims(inner, known)]
    return Proposal([sample.name for sample in samples], inner, read, about, "espi", claims)


def parquet_table(samples: list[Sample]) -> Table:
    """The first rows of each file as cells of text; columns typed as time are noted.

    Raises:
        NoProposal: a file is packed or damaged, or they differ in their columns.
    """
    table: Table | None = None
    for number, sample in enumerate(samples):
        if sample.packed:
            raise refuse("is a Parquet file inside another package; take it out", sample.name)
        rows, schema = _first_rows(sample.path, sample.name)
        names = schema.names
        if table is None:
            table = Table(names, True, [[] for _ in names], [], [])
            table.typed_times = {
                at: schema.field(at).type.tz is not None
                for at in range(len(names))
                if pa.types.is_timestamp(schema.field(at).type)
            }
        elif table.names != names:
            raise refuse(f"does not have the columns of {samples[0].name}; propose for each alone", sample.name)
        for at, column in enumerate(table.columns):
            column.extend(_cells(rows.column(at)))
        table.piece.extend([number] * rows.num_rows)
        table.file.extend([number] * rows.num_rows)
        table.starts.add(number)
        if rows.num_rows < _ROWS_MOST:
            table.ends.add(number)
    if table is None or table.rows < 2:
        raise refuse("holds fewer than two rows of data; a proposal needs more", samples[0].name)
    return table


def _first_rows(path: Path, name: str) -> tuple[pa.Table, pa.Schema]:
    try:
        with pq.ParquetFile(path) as file:
            batch = next(file.iter_batches(batch_size=_ROWS_MOST), None)
            schema = file.schema_arrow
    except (pa.ArrowException, OSError) as error:
        raise refuse(f"cannot be read as Parquet ({str(error)[:200]})", name) from None
    return (pa.Table.from_batches([batch], schema) if batch else schema.empty_table()), schema


def _cells(column: pa.ChunkedArray) -> list[str]:
    """Text of each value: times in ISO form, truth values in lower case, nothing for null."""
    if pa.types.is_timestamp(column.type):
        return ["" if value is None else f"{value.replace(tzinfo=None):%Y-%m-%d %H:%M:%S.%f}" for value in _utc(column)]
    return ["" if value is None else _word(value) for value in column.to_pylist()]


def _utc(column: pa.ChunkedArray) -> list[object]:
    instants = column.cast(pa.timestamp("us", column.type.tz and "UTC"), safe=False)
    return instants.to_pylist()


def _word(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.10g}" if isinstance(value, float) else str(value).strip()
