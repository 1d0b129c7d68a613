"""Text of a register or an export as something that a reader can see.

Belongs here: what is done to characters that cannot be seen, or that make a line read differently than it is written.
"""

from __future__ import annotations

import unicodedata

_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def seen(text: str) -> str:
    """``text`` in composed form, with control characters, marks of direction and the like spelt out as ``[U+202E]``."""
    composed = unicodedata.normalize("NFC", text)
    if composed.isascii() and composed.isprintable():
        return composed
    return "".join(spelt(mark) if unicodedata.category(mark) in _UNSEEN else mark for mark in composed)


def spelt(mark: str) -> str:
    return f"[U+{ord(mark):04X}]"
