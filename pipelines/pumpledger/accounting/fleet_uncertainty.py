"""How far the fleet's energy and savings may be off: what sites share adds straight, what is each site's own does not.

Belongs here: combining terms, and saying in words where the uncertainty comes from. Which terms there are, and what
they share, is said in ``sql/accounting/fleet_terms.sql``.

Terms with one shared cause (the accuracy class of the energy meters, a programme's stipulated baseline, the curve of a
make where no flow was read) err the same way at every site and are added. The sites' own terms, and the causes among
themselves, are independent: the root of the sum of their squares. Source: first-order propagation with correlation 1
and 0, JCGM 100:2008 (GUM), 5.1 and 5.2.2; checked against the package uncertainties and a Monte Carlo in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from pumpledger.engine.account_tables import FLEET_SAVINGS
from pumpledger.engine.database import Database

OWN = "each site's own"
TOTAL = "total"
QUANTITIES = ("energy", "raw saving", "equal-volume saving")
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Term:
    """One way in which one site's number may err: ``below`` and ``above`` are half-widths [kWh], not below 0.

    ``shared`` names what errs the same way at every site that names it; empty for the site's own. Own terms of one
    site and ``kind`` add straight.
    """

    site_id: str
    kind: str
    shared: str
    below: float
    above: float


@dataclass(frozen=True, slots=True)
class Part:
    """What comes from one cause, or from all that is each site's own: half-widths [kWh], and the sites behind it."""

    name: str
    sites: int
    below: float
    above: float

    @property
    def half_width(self) -> float:
        """Mean of both sides [kWh]."""
        return (self.below + self.above) / 2


def parts(terms: Iterable[Term]) -> list[Part]:
    """Terms by cause: shared ones added, the sites' own in quadrature; widest first, the own last."""
    shared: dict[str, list[Term]] = {}
    own: dict[tuple[str, str], list[Term]] = {}
    for term in terms:
        if term.shared:
            shared.setdefault(term.shared, []).append(term)
        else:
            own.setdefault((term.site_id, term.kind), []).append(term)
    found = [
        Part(
            name,
            len({term.site_id for term in members}),
            math.fsum(term.below for term in members),
            math.fsum(term.above for term in members),
        )
        for name, members in shared.items()
    ]
    found.sort(key=lambda part: (-part.half_width, part.name))
    if own:
        below = _root_of_squares(math.fsum(term.below for term in members) for members in own.values())
        above = _root_of_squares(math.fsum(term.above for term in members) for members in own.values())
        found.append(Part(OWN, len({site for site, _ in own}), below, above))
    return found


def total(found: Iterable[Part]) -> tuple[float, float]:
    """Half-widths below and above of the whole [kWh]: causes in quadrature."""
    listed = list(found)
    return _root_of_squares(part.below for part in listed), _root_of_squares(part.above for part in listed)


def _root_of_squares(values: Iterable[float]) -> float:
    # fsum: the same last digit in whatever order the terms come.
    return math.sqrt(math.fsum(value * value for value in values))


def words(found: list[Part], below: float, above: float) -> str:
    """Where the uncertainty of a total comes from, in one sentence; empty where there is none."""
    if not found:
        return ""
    shared = [part for part in found if part.name != OWN]
    said = [f"{_kwh(part.half_width)} come from {part.name} ({_sites(part)})" for part in shared[:_MOST_NAMED]]
    small = shared[_MOST_NAMED:]
    if small:
        rest = _kwh(_root_of_squares(part.half_width for part in small))
        said.append(f"{rest} from {len(small)} smaller shared {'cause' if len(small) == 1 else 'causes'}")
    said += [
        f"{_kwh(part.half_width)} from what is each site's own ({_sites(part)})" for part in found if part.name == OWN
    ]
    listed = f"{', '.join(said[:-1])}, and {said[-1]}" if len(said) > 1 else said[0]
    whole = _kwh((below + above) / 2)
    how = "what sites share is added straight, then all as the root of their squares"
    return f"Of the \u00b1{whole} kWh, {listed}: {how}."


def _sites(part: Part) -> str:
    return f"{part.sites:,} {'site' if part.sites == 1 else 'sites'}"


def _kwh(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 else f"{value:,.1f}"


def build_fleet_savings(db: Database, meter_accuracy: float) -> None:
    """Make table ``fleet_savings``, which conforms to ``tables.FLEET_SAVINGS``: the fleet's energy and savings of the
    week with their interval, and the parts of it.

    Reads ``baseline_day``, ``savings``, ``pump`` and ``speed_grid``. A quantity that no site-day carries has no row.
    """
    terms: dict[str, list[Term]] = {name: [] for name in QUANTITIES}
    for quantity, *rest in db.query("accounting/fleet_terms", {"meter_accuracy": meter_accuracy}).iter_rows():
        terms[quantity].append(Term(*rest))
    sums = {row["quantity"]: row for row in db.query("accounting/fleet_sums").iter_rows(named=True)}
    rows: list[dict[str, object]] = []
    for quantity in QUANTITIES:
        if quantity in sums:
            rows += _rows(quantity, sums[quantity], parts(terms[quantity]))
    frame = pl.DataFrame(rows, schema=FLEET_SAVINGS.schema) if rows else FLEET_SAVINGS.empty()
    db.load("fleet_savings", FLEET_SAVINGS.conform(frame))


def _rows(quantity: str, sums: dict[str, object], found: list[Part]) -> list[dict[str, object]]:
    below, above = total(found)
    middle = float(sums["mid_kwh"])  # type: ignore[arg-type]
    whole = {
        "quantity": quantity,
        "place": 0,
        "part": TOTAL,
        "sites": sums["sites"],
        "site_days": sums["site_days"],
        "lo_kwh": middle - below,
        "mid_kwh": middle,
        "hi_kwh": middle + above,
        "below_kwh": below,
        "above_kwh": above,
        "sentence": words(found, below, above),
    }
    return [
        whole,
        *(
            {
                **dict.fromkeys(FLEET_SAVINGS.columns),
                "quantity": quantity,
                "place": place,
                "part": part.name,
                "sites": part.sites,
                "below_kwh": part.below,
                "above_kwh": part.above,
                "sentence": "in quadrature" if part.name == OWN else "added straight",
            }
            for place, part in enumerate(found, start=1)
        ),
    ]
