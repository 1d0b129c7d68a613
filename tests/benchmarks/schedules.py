"""Prints how long proposals take on made-up sites, and how close to the best the searches behind them get.

Run by hand: ``python tests/benchmarks/schedules.py --sites 200 --seed 1``. Time is processor time on one core, of the
whole proposal as a review makes it; the gap is that of the cheapest plan, before one with fewer steps is preferred to
it. ``--milp 60`` holds as many time-of-use problems, on coarser speeds, against HiGHS (minutes). It prints and asserts
nothing.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from time import process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "planning"))

from drawn_problems import drawn_problem  # noqa: E402
from milp_plan import milp_cost  # noqa: E402

from pumpledger.planning.day_grid import day_grid  # noqa: E402
from pumpledger.planning.offers import simplest  # noqa: E402
from pumpledger.planning.proposal import Proposal, search  # noqa: E402

COARSE = 12  # 300 rpm: HiGHS takes minutes on the whole grid


def timed(seeds: range, flat: bool) -> None:
    """One line: times, shares proven best, widest gap."""
    times, gaps, unmet, unknown = [], [], 0, 0
    simplest(drawn_problem(seeds.start, flat=flat))  # what a process loads once is no site's time
    for seed in seeds:
        problem = drawn_problem(seed, flat=flat)
        begun = process_time()
        simplest(problem)
        times.append(process_time() - begun)
        told = simplest(problem, near=0.0)
        if isinstance(told, Proposal) and told.plan is not None:
            gaps.append(told.gap)
        elif isinstance(told, Proposal):
            unknown += 1
        else:
            unmet += 1
    ms, shares = 1000 * np.array(times), np.array(gaps)
    print(
        f"{'flat' if flat else 'time-of-use'}: {len(ms)} sites, ms a site median {np.median(ms):.0f}, mean {ms.mean():.0f}, "
        f"95 % {np.quantile(ms, 0.95):.0f}, worst {ms.max():.0f}; {unmet} cannot be met, {unknown} without an answer; "
        f"gap 0 in {np.mean(shares == 0):.1%} of {len(shares)}, at most 0.2 % in {np.mean(shares <= 0.002):.1%}, "
        f"widest {shares.max():.3%}"
    )


def against_highs(seeds: range, seconds: float) -> None:
    """One line: how often the two costs are equal, and how far apart else."""
    apart, unproven, both_none, split = [], 0, 0, 0
    for seed in seeds:
        problem = drawn_problem(seed, every=COARSE)
        found, other = search(day_grid(problem)), milp_cost(problem, seconds)
        if found.mix is None or other is None:
            both_none += found.mix is None and other is None
            split += (found.mix is None) != (other is None)
            continue
        cost, bound = other
        unproven += cost > bound * (1 + 1e-6)
        apart.append(found.cost / cost - 1)
        line = f"seed {seed}: {found.cost:.6f}, bound {found.bound:.6f}; HiGHS {cost:.6f}, bound {bound:.6f}"
        print(line, "" if abs(apart[-1]) <= 1e-7 else "differ", flush=True)
    shares = np.array(apart)
    print(
        f"HiGHS: {len(shares)} problems with a plan, {both_none} without by both, {split} where the two disagree; equal in "
        f"{np.mean(np.abs(shares) <= 1e-7):.1%}, dearer by at most {max(shares.max(), 0):.2e}; HiGHS ran out of time in "
        f"{unproven}"
    )


def main() -> None:
    """Print one line a kind."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--sites", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--milp", type=int, default=0)
    asked.add_argument("--seconds", type=float, default=120.0)
    given = asked.parse_args()
    if given.milp:
        against_highs(range(given.seed, given.seed + given.milp), given.seconds)
        return
    for flat in (True, False):
        timed(range(given.seed, given.seed + given.sites), flat)


if __name__ == "__main__":
    main()
