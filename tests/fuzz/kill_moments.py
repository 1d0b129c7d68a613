"""Kills runs with SIGKILL, at random moments and just before every change of the lake, and runs again.

    .venv/bin/python tests/fuzz/kill_moments.py --count 200 --seed 1

After each kill no export may be half in; after the rerun the lake must be, byte for byte, that of a run never killed.
Exit status 1 where it is not. pytest does not collect this script; `tests/pipeline/test_killed.py` runs a small number
of the same kills.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2])]

from tests.fuzz.killed import SCENARIOS, bench  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=200, help="random moments, shared out over the scenarios")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scenario", choices=list(SCENARIOS), help="this one alone")
    parser.add_argument("--no-changes", action="store_true", help="random moments alone")
    chosen = parser.parse_args()
    names = [chosen.scenario] if chosen.scenario else list(SCENARIOS)
    rng, began, failures = random.Random(chosen.seed), time.perf_counter(), []
    for name in names:
        with tempfile.TemporaryDirectory(prefix="kill-") as root:
            made = bench(Path(root), name)
            delays = [rng.uniform(0, made.took_s) for _ in range(chosen.count // len(names))]
            tries = [(None, delay) for delay in delays]
            tries += [(number, None) for number in range(1, made.changes + 1) if not chosen.no_changes]
            outcomes: Counter[str] = Counter()
            for die_at, die_after_s in tries:
                try:
                    outcomes[
                        ("at random, " if die_at is None else "at a change, ") + made.try_at(die_at, die_after_s)
                    ] += 1
                except AssertionError as error:
                    outcomes["NOT THE SAME"] += 1
                    failures.append(f"{name}: {error}")
            print(f"{name}: {made.changes} changes, {made.took_s:.2f} s; {dict(sorted(outcomes.items()))}", flush=True)
    print(f"{time.perf_counter() - began:.0f} s; failures: {len(failures)}")
    for failure in failures:
        print(failure[:1500])
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
