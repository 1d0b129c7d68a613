"""A good fleet folder to spoil."""

from __future__ import annotations

from pathlib import Path

import pytest
from register_folder import Folder


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)
