"""The auxiliary load: a column of two words, and which of them means energised.

Belongs here: words for on and off. Everything else that a column may hold is in the other files.
"""

from __future__ import annotations

from pumpledger.proposal.claim import Claim

_PAIRS = (
    ("1", "0"), ("on", "off"), ("true", "false"), ("yes", "no"), ("y", "n"), ("t", "f"), ("ein", "aus"), ("an", "aus"),
    ("ja", "nein"), ("marche", "arrêt"), ("marche", "arret"), ("oui", "non"), ("aan", "uit"), ("ja", "nee"),
    ("si", "no"), ("sí", "no"), ("encendido", "apagado"), ("acceso", "spento"), ("ligado", "desligado"),
    ("enabled", "disabled"), ("energised", "idle"), ("energized", "idle"), ("closed", "open"),
)  # fmt: skip
"""(on, off) as dictionaries have them. A relay that is closed carries current."""

_ON = {on for on, _ in _PAIRS}
_OFF = {off for _, off in _PAIRS}


def words_are_states(cells: set[str]) -> bool:
    """Whether these are at most two words, all of them for on or off."""
    lowered = {cell.lower() for cell in cells}
    return 0 < len(lowered) <= 2 and lowered <= _ON | _OFF


def judge_aux(column: str, cells: list[str]) -> Claim:
    """The claim on ``quantity.aux`` for a column that its name calls auxiliary."""
    seen = sorted(set(cells))
    key = "quantity.aux"
    pairs = [pair for pair in _PAIRS if {cell.lower() for cell in seen} == set(pair)]
    if len(seen) == 2 and pairs:
        on = [cell for cell in seen if cell.lower() == pairs[0][0]]
        off = [cell for cell in seen if cell.lower() == pairs[0][1]]
        told = f"{cells.count(on[0])} times {on[0]!r}, {cells.count(off[0])} times {off[0]!r}"
        return Claim(key, {"column": column, "on": on, "off": off}, "sure", told)
    alone = seen[0].lower() if len(seen) == 1 else ""
    partners = [pair for pair in _PAIRS if alone in pair]
    if partners and not (alone in _ON and alone in _OFF):
        pair = partners[0]
        on, off = ([seen[0] if word == alone else _in_case_of(seen[0], word)] for word in pair)
        told = f"only {seen[0]!r} in the sample; the other word is its usual partner"
        return Claim(key, {"column": column, "on": on, "off": off}, "likely", told)
    shown = ", ".join(repr(cell) for cell in seen[:6]) + (" ..." if len(seen) > 6 else "")
    told = f"it holds {shown}: say which words mean energised and which not, or delete this line"
    return Claim(key, {"column": column}, "cannot tell", told, ("on", "off"))


def _in_case_of(model: str, word: str) -> str:
    return word.upper() if model.isupper() else word.capitalize() if model[0].isupper() else word
