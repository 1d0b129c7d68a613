"""Whether a regular expression of a dialect holds: one group, and no slip that makes it run for hours on a long name.

Belongs here: the faults of one pattern. What the pattern is matched against is up to the dialect. A bound on the form,
not a proof: it stops what doubles the work with each character, which is what slips do.
"""

from __future__ import annotations

import re

_REPEATS_MOST, _CHOICES_MOST = 3, 4
"""Open repeats and choices in one pattern: the work grows with the name's length to the power of the first, and one
more for a search, and doubles with each of the second. At the worst, some seconds a name; for honest patterns, nothing
to measure."""

_PIECE = re.compile(
    r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|(?:\{\d*,\d*\}|\{\d+\}|[*+?])[?+]?|\((?:\?[^)]*?[:=!>)])?|.", re.DOTALL
)
"""An escape, a class, a repeat with its lazy or possessive mark, a group's opening with its flags, or one character."""


def regex_faults(pattern: str) -> list[str]:
    """What is wrong with ``pattern``, each as the end of a sentence that begins with its field."""
    try:
        groups = re.compile(pattern).groups
    except (re.error, OverflowError, RecursionError) as error:
        return [f"is not a regular expression: {error}"]
    faults = [] if groups == 1 else ["needs exactly one group in parentheses"]
    if _may_run_on(_PIECE.findall(pattern)):
        faults.append(
            f"may take hours on a long name; it may hold at most {_REPEATS_MOST} of * + {{m,n}} and {_CHOICES_MOST} of "
            "? |, none of them in a group that is repeated, and no flag x"
        )
    return faults


def _may_run_on(pieces: list[str]) -> bool:
    repeats = choices = 0
    open_groups = [False]  # whether each holds a repeat or a choice
    closed = False  # whether the piece before closed a group that does
    for piece in pieces:
        repeat = piece[0] in "*+" or (piece[0] == "{" and len(piece) > 1)
        if (closed and repeat) or re.match(r"\(\?[a-zA-Z]*x", piece):
            return True
        closed = False
        if piece[0] == "(" and (piece[-1] != ")" or piece.startswith("(?(")):
            open_groups.append(False)
        elif piece == ")" and len(open_groups) > 1:
            closed = open_groups.pop()
            open_groups[-1] |= closed
        elif piece[0] in "?|":
            open_groups[-1], choices = True, choices + 1
        elif repeat and (piece[0] != "{" or "," in piece):  # {3} is as good as writing it three times
            open_groups[-1], repeats = True, repeats + 1
    return repeats > _REPEATS_MOST or choices > _CHOICES_MOST
