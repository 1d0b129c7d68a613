"""The plans are tested on the same small fleet as the rules."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "diagnosis"))
