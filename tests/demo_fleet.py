"""The committed demo fleet, a made-up one, as tests take it: a copy that nothing has been written into."""

from __future__ import annotations

import shutil
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "sample_data" / "quillmarsh"
_WRITTEN = shutil.ignore_patterns("lake", "reports", ".dagster", ".lock", "truth")


def copy_of_demo(folder: Path) -> Path:
    """The demo without what an earlier review wrote, and without its truth."""
    return Path(shutil.copytree(DEMO, folder, ignore=_WRITTEN))
