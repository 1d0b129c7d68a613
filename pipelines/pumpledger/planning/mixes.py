"""A mix: the periods of a plan without their places, and the best one that a search has seen.

Belongs here: what both searches hand back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pumpledger.planning.problem import Array

Index = npt.NDArray[np.int64]
Mix = tuple[tuple[int, int], ...]
"""Periods as (length in quarters, index of the speed)."""

MOST_TRIPLES = 40_000_000
"""Combinations of three periods that are looked at before a search gives up and states its gap: some seconds."""


@dataclass
class Best:
    """The cheapest mix so far, and the effort that is left."""

    cost: float = np.inf
    mix: Mix = ()
    triples_left: int = MOST_TRIPLES

    @classmethod
    def knowing(cls, known: Found | None, triples: int) -> Best:
        """What stands before a search: nothing, or a plan or a cost that it must be cheaper than."""
        return cls(triples_left=triples) if known is None else cls(known.cost, known.mix or (), triples)

    def take(self, costs: Array, mixes: list[tuple[Index, Index]]) -> None:
        """Keep the cheapest of ``costs`` if it is cheaper; ``mixes`` gives lengths and speeds of each."""
        if costs.size:
            place = int(costs.argmin())
            if costs[place] < self.cost:
                self.cost = float(costs[place])
                periods = [(int(lengths[place]), int(speeds[place])) for lengths, speeds in mixes]
                self.mix = tuple(period for period in periods if period[0])

    def found(self, bound: float, prices: Array | None = None) -> Found:
        """What the search says when no plan but this one costs less than ``bound``."""
        return Found(self.mix or None, self.cost, min(bound, self.cost), prices)


@dataclass(frozen=True)
class Found:
    """The cheapest mix, its cost, and the cost that no plan goes below.

    ``mix`` is None where no plan was found; then an infinite ``bound`` says that there is none, proven. ``prices`` is
    what one more of each need costs at the margin of the bound: 0 where a need is kept in one piece, whose price by the
    quarter is not known; None where there is no bound.
    """

    mix: Mix | None
    cost: float
    bound: float
    prices: Array | None = None


def sorted_range(low: Index, high: Index) -> tuple[Index, Index]:
    """All (row, place) with ``low[row] <= place < high[row]``, row by row."""
    number = np.maximum(high - low, 0)
    rows = np.repeat(np.arange(len(low)), number)
    return rows, low[rows] + np.arange(rows.size) - np.repeat(np.cumsum(number) - number, number)
