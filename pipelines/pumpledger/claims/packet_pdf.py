"""The claim's document as PDF/UA-1, typeset by typst from words and numbers handed over as JSON.

Belongs here: the call of the typesetter, the sizes and dates that keep the bytes the same. What the document says belongs
to `packet_sections.py`, how it looks to `templates/`.
"""

from __future__ import annotations

import json
import unicodedata
from datetime import UTC, date, datetime, time
from functools import cache
from pathlib import Path

TEMPLATES = Path(__file__).resolve().parent / "templates"
STANDARD = "ua-1"

_DRAWN = (
    (0x20, 0x7E),  # Latin
    (0xA1, 0x17F),  # Latin with accents
    (0x391, 0x3A1),  # Greek
    (0x3A3, 0x3C9),
    (0x410, 0x44F),  # Cyrillic
    (0x2010, 0x2014),  # hyphens and dashes
    (0x2018, 0x201A),  # quotation marks
    (0x201C, 0x201E),
)
_ALSO_DRAWN = "\u2022\u2026\u2032\u2033\u20ac\u2190\u2192\u2211\u2212\u221a\u2248\u2260\u2264\u2265\u00a0\u0401\u0451"
_NOT_DRAWN = "\u00ad\u0149"


@cache
def drawn(mark: str) -> bool:
    """Whether the fonts that typst carries have ``mark``, as far as this tool relies on it; a test typesets them all."""
    code = ord(mark)
    return mark not in _NOT_DRAWN and (mark in _ALSO_DRAWN or any(low <= code <= high for low, high in _DRAWN))


def shown(text: object) -> str:
    """``text`` so that each of its characters can be seen: what the fonts have not, or what would be invisible or turn the
    line round, is spelt out as ``[U+202E]``. Missing is an empty string."""
    composed = unicodedata.normalize("NFC", "" if text is None else str(text))
    return "".join(mark if drawn(mark) else f"[U+{ord(mark):04X}]" for mark in composed)


def legible(content: object) -> object:
    """``content`` of dicts, lists, texts and numbers with every text `shown`."""
    if isinstance(content, str):
        return shown(content)
    if isinstance(content, dict):
        return {name: legible(value) for name, value in content.items()}
    if isinstance(content, list | tuple):
        return [legible(value) for value in content]
    return content


def pdf_bytes(document: dict[str, object], dated: date) -> bytes:
    """The document as PDF/UA-1: the same bytes for the same document, on every machine.

    Args:
        document: what `packet_sections.document` gives.
        dated: day that the file says it was made on, which is a day of the data and not of the clock.

    Raises:
        typst.TypstError: the templates and the document do not fit together, or it is not fit for PDF/UA. A fault of the
            tool, never of the data.
    """
    import typst

    compiler = typst.Compiler(TEMPLATES / "claim.typ", root=TEMPLATES, font_paths=_fonts())
    made = compiler.compile(
        format="pdf",
        pdf_standards=STANDARD,
        timestamp=datetime.combine(dated, time(), UTC),
        sys_inputs={"document": json.dumps(legible(document), ensure_ascii=True, sort_keys=True)},
    )
    assert isinstance(made, bytes)
    return made


@cache
def _fonts() -> object:
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)
