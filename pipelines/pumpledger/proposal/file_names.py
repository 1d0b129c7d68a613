"""The pump's code in the file's name: the part that differs from file to file and is no date.

Belongs here: patterns of names. Columns of codes are `identity.py`.
"""

from __future__ import annotations

import re

from pumpledger.intake.safe_regex import regex_faults
from pumpledger.proposal.claim import Claim
from pumpledger.proposal.identity import codes_claim
from pumpledger.proposal.known_codes import KnownCodes

_KEY = "pump.file_name"
_SEPARATORS = ("__", " ", "_", "-")
_DATE = re.compile(
    r"(?:\d{4}[-_.]?(?:w\d{1,2}|\d{1,2}(?:[-_.]?\d{1,2})?)|\d{6,14}|w\d{1,2}|\d{1,2}[-_.]\d{1,2}[-_.]\d{2,4})", re.I
)


def file_name_claims(names: list[str], known: KnownCodes) -> list[Claim]:
    """The claims on ``pump.file_name``, for files none of whose columns tells whose the rows are.

    ``names`` are the names that patterns look at: without .gz and the like.
    """
    distinct = sorted(set(names))
    in_register = _by_register(distinct, known)
    if in_register:
        pattern, codes, whose = in_register
        told = f"codes of the register in the names: {', '.join(codes[:3])}"
        return [Claim(_KEY, pattern, "sure", told), codes_claim(whose, None)]
    by_parts = _by_parts(distinct)
    if by_parts:
        pattern, codes = by_parts
        told = f"what differs between the names and is no date: {', '.join(codes[:3])}; check that it is the code"
        return [Claim(_KEY, pattern, "likely", told), codes_claim(None, None)]
    told = (
        f"no column says whose a row is; a regular expression on the file name ({distinct[0]}) whose one group is the "
        'code, or instead fixed = "..." for one pump'
    )
    return [Claim(_KEY, None, "cannot tell", told)]


def _by_register(names: list[str], known: KnownCodes) -> tuple[str, list[str], str] | None:
    for whose, codes in (("pump", known.pumps), ("site", known.sites)):
        found = [_code_in(name, codes) for name in names]
        if codes and all(found):
            pattern = _pattern(names, [str(code) for code in found])
            if pattern:
                return pattern, sorted({str(code) for code in found}), whose
    return None


def _code_in(name: str, codes: frozenset[str]) -> str | None:
    """The longest code that stands in ``name`` with no letter or digit about it, once."""
    fitting = [code for code in codes if re.search(rf"(?<![A-Za-z0-9]){re.escape(code)}(?![A-Za-z0-9])", name)]
    longest = max(fitting, key=lambda code: (len(code), code), default=None)
    return longest if longest and name.count(longest) == 1 else None


def _by_parts(names: list[str]) -> tuple[str, list[str]] | None:
    """Splits the names at each separator in turn; takes the first that leaves one part that differs and is no date."""
    if len(names) < 2:
        return None
    stems = [name.rsplit(".", 1)[0] for name in names]
    for separator in _SEPARATORS:
        parts = [stem.split(separator) for stem in stems]
        if len({len(part) for part in parts}) != 1 or len(parts[0]) < 2:
            continue
        differing = [
            at
            for at in range(len(parts[0]))
            if len({part[at] for part in parts}) > 1 and not all(_DATE.fullmatch(part[at]) for part in parts)
        ]
        if len(differing) == 1:
            codes = [part[differing[0]] for part in parts]
            pattern = _pattern(names, codes)
            if pattern and not any(_DATE.search(code) for code in codes):
                return pattern, sorted(set(codes))
    return None


def _pattern(names: list[str], codes: list[str]) -> str | None:
    """A regular expression whose group is the code in each name; digits outside of it, which may be a date, are kept
    out of the pattern as long as another fits."""
    before, after = (
        list(parts) for parts in zip(*(n.split(c, 1) for n, c in zip(names, codes, strict=True)), strict=True)
    )
    lead = re.search(r"[^A-Za-z0-9]*$", common_part(before, from_end=True))[0]  # type: ignore[index]
    trail = re.match(r"[^A-Za-z0-9]*", common_part(after, from_end=False))[0]  # type: ignore[index]
    starts = re.escape(before[0]) if len(set(before)) == 1 else None
    ends = re.escape(after[0]) if len(set(after)) == 1 else None
    dated = [bool(re.search(r"\d", part[0])) for part in (before, after)]
    short = f"([^{re.escape(trail[:1])}]+){re.escape(trail)}" if trail else None
    tries = [
        rf".*{re.escape(lead)}(.+){ends}$" if ends is not None and not dated[1] and lead else None,
        rf"^{starts}(.+){ends}$" if starts is not None and ends is not None and not any(dated) else None,
        rf"^{starts}{short}" if starts is not None and not dated[0] and short else None,
        rf"{re.escape(lead)}{short}" if lead and short else None,
        rf"^{starts}(.+){ends}$" if starts is not None and ends is not None else None,
    ]
    for pattern in tries:
        if pattern and len(pattern) <= 200 and not regex_faults(pattern) and _finds(pattern, names, codes):
            return pattern
    return None


def _finds(pattern: str, names: list[str], codes: list[str]) -> bool:
    found = [re.search(pattern, name) for name in names]
    return all(match and match[1] == code for match, code in zip(found, codes, strict=True))


def common_part(texts: list[str], from_end: bool) -> str:
    """The longest common end, or start, of ``texts``."""
    common = texts[0]
    for text in texts[1:]:
        while common and not (text.endswith(common) if from_end else text.startswith(common)):
            common = common[1:] if from_end else common[:-1]
    return common
