"""A random dialect writes a random export: the proposal is never sure of something false, and what it prints passes
the check of dialects exactly when nothing is left to fill in.

The exports come from `export_writer.py`, which shares nothing with the code under test. Some of its headers name a
wrong unit on purpose. PUMPLEDGER_EXPORTS sets how many are tried.
"""

from __future__ import annotations

import os
import random
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pumpledger.proposal.claim import NoProposal, Proposal
from pumpledger.proposal.propose import propose
from tests.proposal.export_writer import Export, write_export
from tests.proposal.filled import stands
from tests.proposal.truth import false_claims

EXPORTS = int(os.environ.get("PUMPLEDGER_EXPORTS", "80"))
RUN = settings(
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
    database=None,
    phases=[Phase.generate],  # making a failing export smaller takes minutes and shows no more
)
TOO_SMALL = ("fewer than two rows", "rows of one width")
"""What may be said of a log of changes in which next to nothing changed."""


def proposed(export: Export, folder: Path) -> Proposal | None:
    paths = [folder / name for name in export.files]
    for path in paths:
        path.write_bytes(export.files[path.name])
    try:
        return propose(paths, total_bytes=1 << 18)
    except NoProposal as refusal:
        assert export.truth["time.label"] == "change_of_state" and any(why in str(refusal) for why in TOO_SMALL), (
            refusal
        )
        return None


def test_never_sure_of_something_false(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said: Counter[str] = Counter()

    @settings(RUN, max_examples=EXPORTS)
    @given(st.data(), st.integers(0, 2**32))
    def one(data: st.DataObject, seed: int) -> None:
        export = write_export(lambda options: data.draw(st.sampled_from(options)), random.Random(seed))
        proposal = proposed(export, tmp_path)
        if proposal is None:
            said["no proposal"] += 1
            return
        false, misled = false_claims(proposal, export)
        assert not false, [(claim, export.truth.get(claim.key)) for claim in false]
        passes, problems = stands(proposal)
        assert passes == (not proposal.asked), problems
        said.update(claim.sureness for claim in proposal.claims)
        said["likely, and not so"] += len(misled)
        said["exports"] += 1

    one()
    lines = sum(said[sureness] for sureness in ("sure", "likely", "cannot tell"))
    misled = said["likely, and not so"] / said["likely"]
    with capsys.disabled():
        print(
            f"\n{said['exports']} random exports, {lines} lines: {said['sure'] / lines:.0%} sure, none of them "
            f"false, {said['likely'] / lines:.0%} likely ({misled:.0%} not so), "
            f"{said['cannot tell'] / lines:.0%} asked; {said['no proposal']} refused as too small"
        )
    assert said["sure"] > 0.4 * lines
