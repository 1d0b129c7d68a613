"""The thresholds of a fleet: the defaults of the registries, and what fleet.toml puts in their place.

Belongs here: the two registries as one list. A mode (doubts about sources and logs, before any site is judged) has the
rule of the same identifier, which tells it. What a threshold does stands with its rule or mode.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pumpledger.diagnosis.rules import BY_ID
from pumpledger.engine.parameter import Parameter
from pumpledger.problems import FleetError, Problem
from pumpledger.verdicts.registry import MODES

Overrides = dict[str, dict[str, float]]


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Values in place of defaults: of ``rules`` and of ``modes``, each identifier -> parameter -> value."""

    rules: Overrides = field(default_factory=dict)
    modes: Overrides = field(default_factory=dict)

    def value(self, identifier: str, parameter: str, default: float) -> float:
        given = self.rules.get(identifier, {}) | self.modes.get(identifier, {})
        return given.get(parameter, default)


def thresholds(given: Mapping[str, Mapping[str, float]]) -> Thresholds:
    """``given`` (identifier -> parameter -> value, as fleet.toml has it) told apart by registry.

    Raises:
        FleetError: rules or parameters that do not exist, and values outside their bounds, all at once.
    """
    problems: list[Problem] = []
    found = Thresholds()
    for identifier, values in given.items():
        rule, mode = BY_ID.get(identifier), MODES.get(identifier)
        if rule is None and mode is None:
            problems.append(_fault(identifier, "", f"there is no rule {identifier!r}; `pumpledger rules` lists them"))
            continue
        of_rule = rule.parameters if rule else {}
        known = parameters_of(identifier)
        for name, value in values.items():
            limits = known.get(name)
            if limits is None:
                close = difflib.get_close_matches(name, known, n=1)
                hint = f"; did you mean {close[0]}?" if close else ""
                problems.append(_fault(identifier, name, f"{identifier} has no threshold {name!r}{hint}"))
            elif not limits.least <= value <= limits.most:
                bounds = f"{limits.least:g} to {limits.most:g} {limits.unit}"
                problems.append(_fault(identifier, name, f"{value:g} is outside {bounds}"))
            else:
                (found.rules if name in of_rule else found.modes).setdefault(identifier, {})[name] = value
    if problems:
        raise FleetError(problems)
    return found


def _fault(identifier: str, parameter: str, sentence: str) -> Problem:
    column = f"rules.{identifier}.{parameter}".rstrip(".")
    return Problem("fleet_rules", sentence, file="fleet.toml", column=column)


def parameters_of(identifier: str) -> dict[str, Parameter]:
    """The thresholds of a rule and of the mode whose doubts it tells."""
    owners = (BY_ID.get(identifier), MODES.get(identifier))
    return {name: item for owner in owners if owner for name, item in owner.parameters.items()}


def listed(found: Thresholds) -> Iterator[str]:
    """Every rule in words: what it finds, what it needs, its thresholds with bounds."""
    for rule in sorted(BY_ID.values(), key=lambda rule: _place(rule.id)):
        season = "; rests while a site is closed" if rule.season == "open" else ""
        mode = MODES.get(rule.id)
        doubt = "" if mode is None else "; dealt with by itself" if mode.applied else "; waits for a decision"
        yield f"{rule.id}  {rule.name} ({rule.severity}{season}{doubt})"
        yield f"    needs {', '.join(rule.needs) or 'nothing more than exports'}"
        yield from _lines(rule.id, parameters_of(rule.id), found)


def _lines(identifier: str, parameters: Mapping[str, Parameter], found: Thresholds) -> Iterator[str]:
    for name, item in parameters.items():
        value = found.value(identifier, name, item.default)
        changed = f"; the default is {item.default:g}" if value != item.default else ""
        yield (
            f"    {name} = {value:g} {item.unit} ({item.least:g} to {item.most:g}; "
            f"{'greater' if item.stricter == 'more' else 'smaller'} speaks less often{changed})"
        )


def _place(identifier: str) -> tuple[str, int]:
    return identifier[0], int(identifier[1:])
