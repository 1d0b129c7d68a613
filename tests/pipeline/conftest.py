"""One review of the committed demo fleet, shared by the tests of this folder."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pumpledger.orchestration.run import Outcome, run_review

DEMO = Path(__file__).resolve().parents[2] / "sample_data" / "quillmarsh"


def copy_of_demo(folder: Path) -> Path:
    """The demo without what an earlier review wrote, and without its truth."""
    return Path(
        shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("lake", "reports", ".dagster", ".lock", "truth"))
    )


@pytest.fixture(scope="session")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Outcome]:
    folder = copy_of_demo(tmp_path_factory.mktemp("demo") / "fleet")
    return folder, run_review(folder)
