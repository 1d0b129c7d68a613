"""Working a packet's claim out anew: a fleet folder made from the packet, reviewed, and claimed from once more.

Belongs here: the frame around `claims.verify`. What is compared stands there, how the folder is made in `packing.py`.
"""

from __future__ import annotations

import json
import tempfile
from datetime import date
from pathlib import Path

import polars as pl

from pumpledger.claims.data import ClaimData
from pumpledger.claims.packet import REQUEST
from pumpledger.claims.verify import Verified, verify_packet
from pumpledger.orchestration.claiming import Asked, compute_claims
from pumpledger.orchestration.packing import evidence, rebuild
from pumpledger.problems import FleetError, Problem


def run_verify(packet: Path) -> Verified:
    """Check the packet in ``packet`` and work its figures out anew, in a folder that is thrown away."""
    return verify_packet(packet, _recompute)


def _recompute(data: Path, published: dict[str, object]) -> tuple[ClaimData, pl.DataFrame]:
    asked = _asked(data / REQUEST)
    with tempfile.TemporaryDirectory() as folder:
        session = rebuild(data, Path(folder))
        (claim,) = compute_claims(session, asked).found
        intervals = evidence(session, claim).intervals
        session.close()
    return claim, intervals


def _asked(path: Path) -> Asked:
    """What was asked for when the packet was made.

    Raises:
        FleetError: the file cannot be read.
    """
    try:
        held = json.loads(path.read_bytes())
        first, last = (date.fromisoformat(held[name]) for name in ("first_day", "last_day"))
        texts = {name: str(held[name]) for name in ("programme", "prepared_by", "reviewed_by")}
        return Asked(first, last, (str(held["site_id"]),), **texts)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise FleetError(Problem("claim_request", f"cannot be read ({error})", file=f"data/{REQUEST}")) from None
