"""A threshold that a manager may ask about or move: its default, its bounds, and which way is stricter.

Belongs here: the kind of thing. The thresholds themselves stand in the registries of rules and of modes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Parameter:
    """One threshold. ``stricter`` says which way makes a rule speak less often: a greater value (more) or a smaller
    one (less)."""

    default: float
    least: float
    most: float
    unit: str
    stricter: Literal["more", "less"]


def values_of(owner: str, parameters: Mapping[str, Parameter], given: Mapping[str, float]) -> dict[str, float]:
    """The defaults of ``parameters``, replaced by ``given``; ``owner`` is named in errors.

    Raises:
        ValueError: a parameter that does not exist, or a value outside its bounds.
    """
    stray = sorted(set(given) - set(parameters))
    if stray:
        raise ValueError(f"{owner} has no parameter {stray}")
    for name, value in given.items():
        limits = parameters[name]
        if not limits.least <= value <= limits.most:
            raise ValueError(f"{owner}: {name} = {value} is outside {limits.least} to {limits.most} {limits.unit}")
    return {name: given.get(name, limits.default) for name, limits in parameters.items()}
