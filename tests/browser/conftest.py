"""A headless Chromium for the pages, and the made-up fleet of tests/reports written once.

With CI=true a missing browser fails; elsewhere it skips.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "reports"))

from review_builder import made_up_review  # noqa: E402

from pumpledger.reports.review import write_review  # noqa: E402

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run", "--disable-component-update",
    "--disable-sync",
)  # fmt: skip


def _missing(what: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("playwright")
    if not CHROMIUM.exists():
        _missing(str(CHROMIUM))
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=str(CHROMIUM), args=list(FLAGS))
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the written review."""
    return write_review(tmp_path_factory.mktemp("browser"), made_up_review())
