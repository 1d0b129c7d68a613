"""The made-up fleet of `review_builder`, built and written once."""

from __future__ import annotations

from pathlib import Path

import pytest
from review_builder import made_up_review

from pumpledger.reports.data import ReviewData
from pumpledger.reports.review import write_review


@pytest.fixture(scope="session")
def review() -> ReviewData:
    return made_up_review()


@pytest.fixture(scope="session")
def written(review: ReviewData, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_review(tmp_path_factory.mktemp("fleet"), review)
