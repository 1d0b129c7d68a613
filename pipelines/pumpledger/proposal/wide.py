"""Wide files: one column for each pump, the code in the column's name.

Belongs here: finding such columns and the pattern of their names. What they measure is judged with all quantities.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pumpledger.intake.safe_regex import regex_faults
from pumpledger.proposal.claim import Claim, Sureness
from pumpledger.proposal.identity import codes_claim
from pumpledger.proposal.known_codes import KnownCodes
from pumpledger.proposal.table import Table
from pumpledger.proposal.words import Name, read_name


@dataclass(frozen=True, slots=True)
class WideColumns:
    """``code`` of each column position, the ``name`` that stands for all (its quantity and unit), the claims, and notes
    on columns that are left out."""

    code: dict[int, str]
    name: Name
    claims: list[Claim]
    notes: list[str]


def find_wide(table: Table, time_positions: tuple[int, ...], known: KnownCodes) -> WideColumns | None:
    """The columns of pumps in a table that has no column of codes; ``None`` where it is not wide."""
    if not table.headed:
        return None
    names = {
        at: read_name(table.names[at], table.units[at] if table.units else "")
        for at in table.numeric
        if at not in time_positions
    }
    families: dict[tuple[str | None, str | None, bool], list[int]] = {}
    for at, name in names.items():
        if not name.other and name.rest and not _says_only_words(name):
            families.setdefault((name.quantity, name.its_unit, "counter" in name.hints), []).append(at)
    families = {key: columns for key, columns in families.items() if _is_family(key, columns, names, known)}
    if not families:
        return None
    key = max(families, key=lambda key: (key[0] is not None, len(families[key])))
    columns = families[key]
    code = {at: _code(names[at], known) for at in columns}
    if len(set(code.values())) < len(code):
        return None
    left = [table.names[at] for at in names if at not in code]
    notes = [f"a wide file holds one quantity; not read: {', '.join(map(repr, left[:8]))}"] if left else []
    return WideColumns(code, names[columns[0]], _claims(table, code, known), notes)


def _says_only_words(name: Name) -> bool:
    """Whether all of a name is words of the trade, so that it is a quantity and no code: ``energy total``."""
    words = re.findall(r"[^\W_]+", name.rest)
    return all(read_name(word).hints or read_name(word).meanings - {"pump", "site", "device"} for word in words)


def _is_family(
    key: tuple[str | None, str | None, bool], columns: list[int], names: dict[int, Name], known: KnownCodes
) -> bool:
    rests = [names[at].rest for at in columns]
    if len(columns) < 2 or len(set(rests)) < len(rests):
        return False
    if known.whose(rests):
        return True
    coded = sum(bool(re.search(r"\d", rest)) for rest in rests) >= 0.8 * len(rests)
    return coded or (key[0] is not None and len(columns) == len(names))


def _code(name: Name, known: KnownCodes) -> str:
    """The code in a name: as the register has it, else what is left without the words of quantity and unit."""
    for codes in (known.pumps, known.sites):
        fitting = [code for code in codes if code in name.text]
        if fitting:
            return max(fitting, key=len)
    return name.rest


def _claims(table: Table, code: dict[int, str], known: KnownCodes) -> list[Claim]:
    whose = known.whose(code.values())
    sureness: Sureness = "sure" if whose else "likely"
    shown = ", ".join(list(code.values())[:3])
    told = f"{len(code)} columns, one a pump, with the codes {shown}" + (
        "" if whose else "; check that these are the codes"
    )
    pattern = _pattern(table, code)
    if pattern:
        return [Claim("pump.header", pattern, sureness, told), codes_claim(whose, None)]
    columns = {table.names[at]: each for at, each in code.items()}
    return [Claim("pump.columns", dict(columns), sureness, told), codes_claim(whose, None)]


def _pattern(table: Table, code: dict[int, str]) -> str | None:
    """A regular expression that fits these column names and no other, whose group is the code."""
    parts = {tuple(table.names[at].split(each, 1)) for at, each in code.items() if each in table.names[at]}
    if len(parts) != 1:
        return None
    before, after = next(iter(parts))
    pattern = f"{re.escape(before)}(.+){re.escape(after)}"
    fits = {at: match[1] for at, name in enumerate(table.names) if (match := re.fullmatch(pattern, name))}
    return pattern if (before or after) and fits == code and not regex_faults(pattern) and len(pattern) <= 200 else None
