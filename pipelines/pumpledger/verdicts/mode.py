"""What a mode is: one way in which a whole source or one pump's log can be wrong, and the rows by which it says so.

Belongs here: the kind of thing. Which modes there are stands in `registry.py`; what each looks for, in its own module
and query.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.engine.parameter import Parameter
from pumpledger.engine.schema import Table
from pumpledger.engine.tables import VERDICTS

_LEFT_TO_RUN = ("verdict_id", "mode", "state", "pumps")

SUSPICIONS = Table(
    "suspicions",
    "one doubt as a mode sees it, before anyone decided on it",
    ("source", "pump_id", "quantity"),
    {name: column for name, column in VERDICTS.columns.items() if name not in _LEFT_TO_RUN},
)
"""What the function of a mode returns. ``sentence`` and ``evidence`` are for people; ``remedy`` has one of the forms of
`corrections.py` or is empty."""

Find = Callable[[Database, Mapping[str, float]], pl.DataFrame]


@dataclass(frozen=True, slots=True)
class Mode:
    """One mode.

    ``find`` gives the rows of SUSPICIONS from the tables that `run.weigh` names; it says nothing of pumps that lack
    what ``needs`` names, because a missing proof is no verdict. ``applied`` modes are dealt with by themselves and are
    only reported; the others stay open until a person decides.
    """

    id: str
    name: str
    needs: tuple[str, ...]
    find: Find
    applied: bool = False
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
