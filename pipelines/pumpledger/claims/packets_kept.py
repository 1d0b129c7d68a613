"""The packets of one claim over time: the one that stands, those before it, and a log that only grows.

Belongs here: which packet has which number. A packet once handed over is not lost when the claim is made again from other
readings: it keeps its number and moves to ``superseded/<number>``.
"""

from __future__ import annotations

from pathlib import Path

from pumpledger.register.csv_log import append_log, read_log
from pumpledger.register.fields import Field
from pumpledger.workspace import replace_folder

FILE, CURRENT, BEFORE = "packets.csv", "packet", "superseded"
FIELDS = (
    Field("number", "count", "1 is the first packet of the claim", required=True, least=1, most=1e6),
    Field("manifest_sha256", "text", "SHA-256 of its manifest, which the document prints", required=True),
    Field("verdict", "text", "READY or NOT READY, when it was made", required=True),
    Field("raw_kwh", "number", "raw saving [kWh]", least=-1e9, most=1e9),
)


def keep_packet(folder: Path, made: Path, digest: str, verdict: str, raw_kwh: float | None) -> int:
    """Put the packet ``made`` in the place of ``folder/packet`` and give its number. One of other bytes takes the next
    number, and the one before it moves to ``folder/superseded``. Hold the fleet's lock.

    Raises:
        FleetError: the log of the packets does not hold.
    """
    log = read_log(folder / FILE, FIELDS)
    last = int(str(log[-1]["number"])) if log else 0
    current = folder / CURRENT
    if log and log[-1]["manifest_sha256"] == digest:
        replace_folder(made, current)
        return last
    old = folder / BEFORE / str(last)
    if log and current.exists() and not old.exists():  # it exists where a run was stopped before it added its line
        old.parent.mkdir(exist_ok=True)
        current.rename(old)
    replace_folder(made, current)
    line = {"number": last + 1, "manifest_sha256": digest, "verdict": verdict, "raw_kwh": raw_kwh}
    append_log(folder / FILE, FIELDS, [line])
    return last + 1
