"""How often the 90 % interval of a made-up site's claim holds what the site truly saved over the same days.

    .venv/bin/python tests/benchmarks/claims_coverage.py --sites 300

Meters and records err as much as the review says they may (`pumpledger demo --stated-errors`). Aim: 87 to 95 % of claims.
Each site is one draw of its errors, so chance moves a share by 2 sqrt(0.09 / sites). Prints one line a seed and quantity,
and the same over all seeds.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import polars as pl

from pumpledger.claims.data import ClaimData
from pumpledger.orchestration.claiming import Asked, compute_claims
from pumpledger.orchestration.run import run_review
from pumpledger.orchestration.session import Session
from pumpledger.profile.calendar import week_days
from pumpledger.scoring.coverage import AIM_HI, AIM_LO, coverage
from pumpledger.simulator.fleet import make_fleet

QUANTITIES = {"raw saving": ("raw", "raw_kwh"), "equal-volume saving": ("equal", "equal_kwh")}


def rows_of(claim: ClaimData, truth: pl.DataFrame, seed: int) -> list[dict[str, object]]:
    """Interval and truth of both savings, over the days that count."""
    site = str(claim.site["site_id"])
    counted = claim.days.filter(state="counted").select("day_local")
    known = truth.filter(site_id=site).join(counted, on="day_local")
    found = []
    for name, (field, column) in QUANTITIES.items():
        interval = getattr(claim.totals, field)
        if interval is not None and known.height == counted.height > 0 and not known[column].null_count():
            whole = {"lo": interval.lo, "mid": interval.mid, "hi": interval.hi, "truth": known[column].sum()}
            found.append({"quantity": name, "unit": f"{seed} {site}", **whole})
    return found


def fleet_rows(folder: Path, sites: int, weeks: int, seed: int) -> list[dict[str, object]]:
    """Make a fleet, review it, claim for all of its sites over all of its weeks."""
    make_fleet(folder, sites, weeks, seed, stated_errors=True)
    run_review(folder)
    session = Session(folder)
    built = session.ready_weeks()
    asked = Asked(week_days(built[0])[0], week_days(built[-1])[6])
    truth = pl.read_csv(folder / "truth" / "savings.csv", try_parse_dates=True)
    return [row for claim in compute_claims(session, asked).found for row in rows_of(claim, truth, seed)]


def line(name: str, seeds: str, rows: pl.DataFrame) -> str:
    """One line of the result."""
    found = coverage(rows)
    if found is None:
        return f"{name}, {seeds}: no claims"
    verdict = "within" if AIM_LO <= found.share <= AIM_HI else "outside"
    chance = f"chance moves it by {found.chance:.1%}"
    return (
        f"{name}, {seeds}: {found.inside} of {found.days} intervals hold the truth, {found.share:.1%} "
        f"({verdict} {AIM_LO:.0%} to {AIM_HI:.0%}; {chance}); {found.above} lie below it; bias {found.mean_off:+.1%}"
    )


def main() -> None:
    """Print the shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=300)
    parser.add_argument("--weeks", type=int, default=1)
    parser.add_argument("--seeds", type=int, nargs="+", default=[11])
    chosen = parser.parse_args()
    rows: list[dict[str, object]] = []
    for seed in chosen.seeds:
        with tempfile.TemporaryDirectory() as folder:
            mine = fleet_rows(Path(folder) / "fleet", chosen.sites, chosen.weeks, seed)
        rows += mine
        for name in QUANTITIES:
            print(line(name, f"seed {seed}", pl.DataFrame(mine).filter(quantity=name)), flush=True)
    if len(chosen.seeds) > 1:
        for name in QUANTITIES:
            print(line(name, "all seeds", pl.DataFrame(rows).filter(quantity=name)))


if __name__ == "__main__":
    main()
