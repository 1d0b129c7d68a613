"""Time of claims of a made-up fleet after its reviews: put together, packed, and one verified. Prints, asserts nothing.

python tests/benchmarks/claim_packets.py --sites 100 --weeks 6
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from pumpledger.orchestration.claiming import Asked, claim_folder, compute_claims
from pumpledger.orchestration.packing import pack
from pumpledger.orchestration.run import run_review
from pumpledger.orchestration.session import Session
from pumpledger.orchestration.verifying import run_verify
from pumpledger.profile.calendar import week_days
from pumpledger.simulator.fleet import make_fleet


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sites", type=int, default=100)
    options.add_argument("--weeks", type=int, default=6)
    options.add_argument("--seed", type=int, default=7)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as root:
        folder = Path(root) / "fleet"
        make_fleet(folder, given.sites, given.weeks, given.seed)
        run_review(folder)
        session = Session(folder)
        weeks = session.ready_weeks()
        begun = time.perf_counter()
        made = compute_claims(session, Asked(week_days(weeks[0])[0], week_days(weeks[-1])[6])).found
        print(f"{len(made)} claims of {len(weeks)} weeks put together: {time.perf_counter() - begun:.1f} s")
        begun = time.perf_counter()
        for claim in made:
            pack(session, claim, claim_folder(session, claim))
        print(f"packed: {time.perf_counter() - begun:.1f} s")
        first = claim_folder(session, made[0]) / "packet"
        size = sum(path.stat().st_size for path in first.rglob("*") if path.is_file())
        begun = time.perf_counter()
        verified = run_verify(first)
        print(f"one of {size / 1e6:.1f} MB verified: {time.perf_counter() - begun:.1f} s, holds: {verified.holds}")


if __name__ == "__main__":
    main()
