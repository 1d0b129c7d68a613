"""Tables of proposed plans and of what came of those that were keyed in: names and types, as in `tables.py`, which lists
these with its own in ``ALL``."""

from __future__ import annotations

from pumpledger.engine.schema import Table


def _band(name: str, meaning: str) -> dict[str, tuple[str, str]]:
    return {
        f"{name}_{end}": ("real", f"{meaning}{word}") for end, word in (("lo", ", low"), ("mid", ""), ("hi", ", high"))
    }


PROPOSALS = Table(
    "proposals",
    "one pump of a site whose plan is in question: the cheapest plan, its proof, or why none is proposed",
    ("pump_id",),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "state": (
            "text",
            "proposed; kept (the plan in force is to stay); withheld (something is missing or not believed); "
            "clash (no plan keeps to everything)",
        ),
        "reason": ("text", "why nothing is proposed; empty when something is"),
        "found": ("text", "findings that put the plan in question, by name, separated by semicolons"),
        "priced": ("bool", "cost is money; otherwise there is no tariff, and it is energy [kWh]"),
        "cost_day": ("real", "cost of a day, mean over a week [currency, or kWh]; null no plan"),
        "bound_day": ("real", "no plan that keeps to everything costs less [currency, or kWh]"),
        "gap": ("real", "distance of the two as a share of the cost; 0 it is the cheapest there is"),
        **_band("energy_kwh", "wire energy of a day by the plan [kWh]"),
        **_band("turnovers", "turnovers of this pump's share of the pool in a day"),
        **_band(
            "saving_kwh", "plan in force less the proposal [kWh a day]; null no plan in force, or its speeds unknown"
        ),
        **_band("saving_money", "the same in money [currency a day]; null no tariff"),
        "turnovers_less": ("real", "turnovers a day given up; negative where more is filtered"),
        "next_m3_cost": ("real", "what one more m3 a day costs at the margin [currency, or kWh]; null not told"),
        "binding": ("text", "what holds the plan where it is, separated by semicolons"),
        "cured": ("text", "what the plan in force breaks and this one keeps, separated by semicolons"),
        "notes": ("text", "what was left as it is, and why, separated by semicolons"),
        "cheaper": ("text", "the cheapest plan of all, where this one has fewer periods; else empty"),
    },
)

PROPOSED_PERIODS = Table(
    "proposed_periods",
    "one period of a pump's proposed plan",
    ("pump_id", "period"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "period": ("int", "1, 2 or 3, by start"),
        "speed_rpm": ("int", "speed to key in [rev/min]"),
        "start_min": ("int", "wall clock [min since 00:00]"),
        "stop_min": ("int", "wall clock [min]; 1440 is midnight, less than the start runs across it"),
    },
)

PLAN_EFFECTS = Table(
    "plan_effects",
    "one plan that was proposed and keyed in: what was expected of it, and what the believed days since then show",
    ("pump_id", "valid_from"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "valid_from": ("day", "local day from which it is keyed in"),
        "days": ("int", "believed days since then, while the plan was in force"),
        **_band("expected_kwh", "wire energy of a day [kWh]"),
        **_band("realised_kwh", "mean wire energy of these days [kWh]; null no such day"),
        **_band("expected_turnovers", "turnovers of this pump a day"),
        **_band("realised_turnovers", "mean turnovers of these days; null no such day"),
        "outcome": (
            "text",
            "too few days; as expected; uses more; uses less; filters less; filters less and uses more; or cannot tell",
        ),
    },
)

PROPOSAL_TABLES = (PROPOSALS, PROPOSED_PERIODS, PLAN_EFFECTS)
