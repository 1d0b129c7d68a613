"""The rows of all sampled files as one table of text cells.

Belongs here: the table and walking along it. What its columns mean comes later.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from pumpledger.proposal.cells import EMPTY_WORDS, looks_like_number
from pumpledger.proposal.claim import refuse
from pumpledger.proposal.shape import Shape


@dataclass
class Table:
    """``columns`` hold the stripped cells by position, in file order; rows with one ``piece`` number stand together in
    one file. ``first_piece`` and ``last_piece`` of a file hold its first and its last row. ``units`` are the cells of
    a units line; ``preamble`` is the text above the header; ``renamed`` are names that the header does not hold so."""

    names: list[str]
    headed: bool
    columns: list[list[str]]
    piece: list[int]
    file: list[int]
    starts: set[int] = field(default_factory=set)
    ends: set[int] = field(default_factory=set)
    units: list[str] = field(default_factory=list)
    preamble: list[str] = field(default_factory=list)
    renamed: list[str] = field(default_factory=list)
    typed_times: dict[int, bool] = field(default_factory=dict)
    """Columns of a Parquet file that are typed as time -> whether they carry a zone."""

    @property
    def rows(self) -> int:
        return len(self.piece)

    def filled(self, at: int) -> list[str]:
        """Cells of column ``at`` that hold something."""
        return [cell for cell in self.columns[at] if cell.lower() not in EMPTY_WORDS]

    @cached_property
    def numeric(self) -> list[int]:
        """Columns whose filled cells look like numbers, nineteen in twenty of them."""
        return [at for at in range(len(self.names)) if _mostly(self.filled(at), looks_like_number)]

    @cached_property
    def texts(self) -> list[int]:
        """Columns with some text that is no number."""
        return [at for at in range(len(self.names)) if at not in self.numeric and self.filled(at)]


def _mostly(cells: Sequence[str], is_so: Callable[[str], bool]) -> bool:
    return bool(cells) and sum(map(is_so, cells)) >= 0.95 * len(cells)


def pooled(shapes: dict[str, Shape], ends: dict[str, bool]) -> Table:
    """One table of the rows of all files; ``ends`` says whether a file's last line was seen.

    Raises:
        NoProposal: the files have not one shape, so that no one dialect reads them all.
    """
    names = list(shapes)
    first = shapes[names[0]]
    for name in names[1:]:
        _same_shape(names[0], first, name, shapes[name])
    table = Table(
        first.names, first.headed, [[] for _ in first.names], [], [], units=first.units, renamed=first.renamed
    )
    piece = 0
    for number, (name, shape) in enumerate(shapes.items()):
        for at, column in enumerate(table.columns):
            column.extend(row[at].strip() for row in shape.rows)
        table.piece.extend(piece + stretch for stretch in shape.stretch)
        table.file.extend([number] * len(shape.rows))
        table.starts.add(piece)
        piece += max(shape.stretch) + 1
        if ends[name]:
            table.ends.add(piece - 1)
        table.preamble += shape.preamble
    return table


def _same_shape(one: str, shape: Shape, other: str, another: Shape) -> None:
    if shape.names != another.names:
        apart = [name for name in another.names if name not in shape.names] or another.names
        raise refuse(
            f"does not have the columns of {one} ({', '.join(map(repr, apart[:3]))}); propose for each alone", other
        )
    for key in ("file.delimiter", "file.preamble_lines", "file.names", "file.quote"):
        values = [next((claim.value for claim in each.claims if claim.key == key), None) for each in (shape, another)]
        if values[0] != values[1] and (key != "file.quote" or None not in values):
            raise refuse(
                f"differs from {one} in {key} ({values[1]!r}, not {values[0]!r}); propose for each alone", other
            )


def series_of(table: Table, keys: Sequence[object]) -> list[list[int]]:
    """Row numbers of each pump within each piece, in file order; ``keys`` says whose a row is."""
    found: dict[tuple[object, ...], list[int]] = {}
    for row, (piece, file, key) in enumerate(zip(table.piece, table.file, keys, strict=True)):
        found.setdefault((piece, file, key), []).append(row)
    return list(found.values())
