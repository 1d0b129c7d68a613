"""The packet of the made-up claim, and what other programs read out of it."""

from __future__ import annotations

import subprocess
from pathlib import Path

import polars as pl

from pumpledger.claims.packet import Evidence
from tests.claims.made_up_claim import spans


def made_up_evidence(folder: Path) -> Evidence:
    inbox = folder / "inbox"
    inbox.mkdir(parents=True)
    for name in ("logger_2026-W43.csv", "logger_2026-W44.csv"):
        (inbox / name).write_bytes(f"time,watts\n2026-10-19 07:00,240\n# {name}, made up\n".encode())
    held = {"fleet.toml": b'name = "made up"\n', "sites.csv": b"site_id,site_name\nS-1,14 Invented Crescent\n"}
    return Evidence(
        {path.name: path for path in sorted(inbox.iterdir())},
        held,
        held | {"sites.csv": b"site_id,site_name\nS-1,S-1\n"},
        spans(),
    )


def pages(pdf: Path) -> list[str]:
    """Text of each page, as poppler reads it."""
    text = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True).stdout.decode()
    return text.split("\f")[:-1]


def counted(folder: Path) -> pl.DataFrame:
    return pl.read_parquet(folder / "data" / "clean" / "days.parquet").filter(pl.col("state") == "counted")
