"""Make, review and score one hard made-up fleet after another, and print the table of all of them together.

    python tests/benchmarks/score_seeds.py --seeds 20 --first 100 --sites 48 --weeks 8 --jobs 1

Each fleet is deleted once its rows are read, so that one fleet at a time is on disk for each job. ``--keep FOLDER``
writes the pooled rows there as Parquet: truth, found, site_weeks and actions, to be looked into.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import fields
from multiprocessing import get_context
from pathlib import Path

import polars as pl

from pumpledger.orchestration.run import run_review
from pumpledger.scoring.evidence import Evidence, pooled, read_evidence
from pumpledger.scoring.mode_lines import mode_lines
from pumpledger.simulator.fleet import make_fleet


def one_fleet(seed: int, sites: int, weeks: int) -> tuple[int, Evidence, float, float]:
    """Seed, its evidence, and the seconds that making and reviewing it took."""
    with tempfile.TemporaryDirectory(prefix=f"seed{seed}_") as parent:
        folder = Path(parent) / "fleet"
        begun = time.perf_counter()
        make_fleet(folder, sites, weeks, seed, faults="all")
        made = time.perf_counter()
        truth = Path(parent) / "truth"
        shutil.move(folder / "truth", truth)  # the review never sees it
        run_review(folder)
        shutil.move(truth, folder / "truth")
        reviewed = time.perf_counter()
        evidence = read_evidence([folder])
    named = Evidence(
        *(getattr(evidence, field.name).with_columns(fleet=pl.lit(str(seed))) for field in fields(Evidence))
    )
    return seed, named, made - begun, reviewed - made


def main() -> None:
    """Parse, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=100)
    parser.add_argument("--sites", type=int, default=48)
    parser.add_argument("--weeks", type=int, default=8)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    parts: list[Evidence] = []
    seeds = range(asked.first, asked.first + asked.seeds)
    # A fresh process for each fleet: what one leaves in memory is not paid for by the next.
    with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn"), max_tasks_per_child=1) as pool:
        running = [pool.submit(one_fleet, seed, asked.sites, asked.weeks) for seed in seeds]
        for future in running:
            seed, evidence, making, reviewing = future.result()
            parts.append(evidence)
            print(f"seed {seed}: made in {making:.1f} s, reviewed in {reviewing:.1f} s", file=sys.stderr, flush=True)
            if asked.keep:
                keep(pooled(parts), asked.keep)
    print("\n".join(mode_lines(pooled(parts))))


def keep(evidence: Evidence, folder: Path) -> None:
    """Write the rows down, after each fleet anew, so that a stopped run leaves what it has."""
    folder.mkdir(parents=True, exist_ok=True)
    for field in fields(Evidence):
        getattr(evidence, field.name).write_parquet(folder / f"{field.name}.parquet")


if __name__ == "__main__":
    main()
