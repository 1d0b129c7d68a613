"""A proposal as the text of a dialect file: each line with its evidence and how sure it is.

Belongs here: TOML and comments. A line that is asked never passes the check of dialects until a person fills it in.
"""

from __future__ import annotations

import re

from pumpledger.proposal.claim import Claim, Proposal

_WIDTH = 34
"""Column that comments begin in, where the line is short enough."""

_HAVE_DEFAULTS = frozenset({"file.encoding", "file.decimal", "file.thousands", "pump.codes", "file.quote"})
"""Fields that a dialect may leave out: left blank they must stand there, so that the file does not pass."""


def render(proposal: Proposal) -> str:
    """The text of the dialect file."""
    names = ", ".join(proposal.names[:3]) + (f" and {len(proposal.names) - 3} more" if len(proposal.names) > 3 else "")
    asked = len(proposal.asked)
    lines = [
        f"# Proposed from {_safe(names)}: {proposal.read}.",
        "# sure: the files leave no other reading. likely: read it before you use it. fill in: it cannot be told.",
        f"# {asked} lines to fill in." if asked != 1 else "# 1 line to fill in.",
        f"about = {_text(proposal.about)}",
    ]
    if proposal.carrier != "text":
        lines.append(f"carrier = {_text(proposal.carrier)}")
    for section in ("file", "time", "pump", "quantity"):
        claims = [claim for claim in proposal.claims if claim.key.split(".")[0] == section]
        if claims:
            lines += ["", f"[{section}]", *(_line(claim) for claim in claims)]
    lines += [f"# not read: {_safe(note)}" for note in proposal.notes]
    return "\n".join(lines) + "\n"


def _line(claim: Claim) -> str:
    key = claim.key.partition(".")[2]
    if not claim.asked:
        return _beside(f"{key} = {_value(claim.value)}", f"{claim.sureness}: {claim.evidence}")
    if not key:
        return f"# fill in: {_safe(claim.evidence)}"
    if isinstance(claim.value, dict):
        known = claim.value | {field: "" for field in claim.missing if field in ("unit", "column")}
        known |= {field: [] for field in claim.missing if field in ("on", "off")}
        fields = ", ".join(claim.missing)
        return _beside(f"{key} = {_value(known)}", f"fill in {fields}: {claim.evidence}")
    blank = f'{key} = ""'
    return _beside(blank if claim.key in _HAVE_DEFAULTS else f"# {blank}", f"fill in: {claim.evidence}")


def _beside(line: str, comment: str) -> str:
    return f"{line:<{_WIDTH}} # {_safe(comment)}"


def _value(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(_value(item) for item in value)}]"
    return _text(value) if isinstance(value, str) else str(value)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _text(text: str) -> str:
    """A basic string of TOML: quotes, backslashes and control characters escaped."""
    escapes = {'"': '\\"', "\\": "\\\\", "\t": "\\t"}
    text = text.encode("utf-8", "replace").decode()  # half a pair, as in a broken file name
    marks = [escapes.get(mark) or (f"\\u{ord(mark):04x}" if _control(mark) else mark) for mark in text]
    return f'"{"".join(marks)}"'


def _safe(comment: str) -> str:
    """A comment may hold no control character but the tab."""
    comment = comment.encode("utf-8", "replace").decode()
    return "".join(" " if _control(mark) or mark == "\t" else mark for mark in comment)


def _control(mark: str) -> bool:
    return ord(mark) < 32 or 127 <= ord(mark) < 160 or mark in "\u2028\u2029"
