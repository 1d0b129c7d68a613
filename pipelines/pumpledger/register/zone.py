"""Whether a text names a time zone. Belongs here: the one question, with every way in which `zoneinfo` says no."""

from __future__ import annotations

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


def is_zone(text: object) -> bool:
    """Whether ``text`` is the name of an IANA time zone."""
    if not isinstance(text, str):
        return False
    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):  # OSError: the name of a folder, such as America
        return False
    return True
