"""Which mark separates fields, and which quotes them.

Belongs here: splitting lines. What the lines are (header, data, footer) is `shape.py`.
"""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import dataclass

from pumpledger.proposal.cells import looks_like_number
from pumpledger.proposal.claim import Claim, refuse
from pumpledger.proposal.stamps import kind_of
from pumpledger.proposal.text import LONGEST_LINE, Lines

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank"}
_LOOKED_AT = 300
"""Lines from the head, and as many from the end, that the delimiter is judged by."""

_SHORT, _LEAST_SHARE, _LEAST_SHARE_SHORT = 20, 0.6, 0.35
"""Share of lines that must have one width; less in a file of a few lines, which preamble and footer may outnumber."""


@dataclass(frozen=True, slots=True)
class Split:
    """How lines fall into fields: ``width`` fields in a row of data. ``quote`` is ``None`` for files that quote
    nothing by any mark."""

    delimiter: str
    quote: str | None
    width: int

    def cells(self, line: str) -> list[str]:
        """The fields of ``line``; empty where it cannot be split."""
        if len(line) > LONGEST_LINE:
            return []
        try:
            rows = list(csv.reader([line], **_options(self.delimiter, self.quote)))
        except csv.Error:
            return []
        return rows[0] if len(rows) == 1 else []


def _options(delimiter: str, quote: str | None) -> dict[str, object]:
    how = {"quotechar": quote} if quote else {"quoting": csv.QUOTE_NONE}
    return {"delimiter": delimiter, "strict": True} | how


def split_of(lines: Lines, name: str) -> tuple[Split, list[Claim]]:
    """The delimiter and the quote of a file, and the claims on them.

    Raises:
        NoProposal: no mark splits the lines into rows of one width.
    """
    texts = [text for text in lines.texts if text.strip() and len(text) <= LONGEST_LINE]
    looked = texts if len(texts) <= 2 * _LOOKED_AT else texts[:_LOOKED_AT] + texts[-_LOOKED_AT:]
    ranked = []
    for delimiter in _DELIMITERS:
        for quote in ('"', "'", None):
            if quote and not any(quote in text for text in looked):
                continue
            found = _judge(looked, delimiter, quote)
            if found:
                ranked.append(found)
    # more lines of one width, then more fields that can be read, then the usual quote
    ranked.sort(key=lambda item: (-item[0], -item[1], ('"', None, "'").index(item[2].quote)))
    if not ranked:
        raise refuse(
            "is no table: no comma, semicolon, tab, bar or blank splits its lines into rows of one width", name
        )
    complete, _, best = ranked[0]
    rivals = sorted(
        {_DELIMITERS[other.delimiter] for told, _, other in ranked if other.delimiter != best.delimiter and told}
    )
    share = f"{best.width} fields in {_share(looked, best)} of {len(looked)} lines"
    if not complete:
        delimiter = Claim(
            "file.delimiter", best.delimiter, "likely", f"{share}; but no time stamp was found among them"
        )
    elif rivals:
        delimiter = Claim("file.delimiter", best.delimiter, "likely", f"{share}; a {rivals[0]} splits them too")
    else:
        told = f"{share}, a time and numbers among them; no other mark does that"
        delimiter = Claim("file.delimiter", best.delimiter, "sure", told)
    quote = _quote(looked, best)
    return best, [delimiter, *([quote] if quote else [])]


def _judge(texts: list[str], delimiter: str, quote: str | None) -> tuple[bool, float, Split] | None:
    """(whether rows hold a time and a number, share of fields that read as one thing, the split)."""
    split = Split(delimiter, quote, 0)
    rows = [cells for text in texts if (cells := split.cells(text))]
    widths = Counter(len(cells) for cells in rows if len(cells) > 1)
    if not widths:
        return None
    width = max(widths, key=lambda size: (widths[size], size))
    fitting = [cells for cells in rows if len(cells) == width]
    if len(fitting) < max(2, (_LEAST_SHARE if len(texts) >= _SHORT else _LEAST_SHARE_SHORT) * len(texts)):
        return None
    body = fitting[1:] or fitting  # the first may be the header
    others = [mark for mark in _DELIMITERS if mark not in (delimiter, " ")]
    times = numbers = readable = 0
    for cells in body:
        kinds = [kind_of(cell) for cell in cells]
        if {"stamp", "epoch"} & set(kinds) or {"date", "clock"} <= set(kinds):
            times += 1
        plain = [looks_like_number(cell.strip()) for cell in cells]
        numbers += any(number and kind is None for number, kind in zip(plain, kinds, strict=True))
        readable += sum(
            bool(kind) or number or (not any(mark in cell for mark in others) and not (quote is None and '"' in cell))
            for cell, kind, number in zip(cells, kinds, plain, strict=True)
        )
    complete = times > 0.8 * len(body) and numbers > 0.3 * len(body)
    return complete, readable / (len(body) * width), Split(delimiter, quote, width)


def _share(texts: list[str], split: Split) -> int:
    return sum(len(split.cells(text)) == split.width for text in texts)


def _quote(texts: list[str], best: Split) -> Claim | None:
    """The claim on ``file.quote``; none where nothing is quoted: the default then reads all there is."""
    if best.quote is None:
        if not any('"' in text for text in texts):
            return None
        return Claim("file.quote", "none", "likely", "quotation marks stand inside fields and close none")
    wrapped = sum(_wraps(text, best) for text in texts)
    needed = sum(
        any(best.delimiter in cell for cell in best.cells(text))
        for text in texts
        if len(best.cells(text)) == best.width
    )
    if not wrapped:
        return None
    why = f"{wrapped} lines quote fields with it" + (f", {needed} with the delimiter inside" if needed else "")
    return Claim("file.quote", best.quote, "sure" if wrapped > 1 or needed else "likely", why)


def _wraps(text: str, split: Split) -> bool:
    quote = str(split.quote)
    fields = text.split(split.delimiter)
    return any(field.startswith(quote) for field in fields) and any(field.endswith(quote) for field in fields)
