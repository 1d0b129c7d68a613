"""Where a pump's flow and power come from, in words, for a site's page.

Belongs here: wording of one row of the table ``curves``. The pictures stand in `efficiency_section.py`.
"""

from __future__ import annotations

from pumpledger.reports import wording
from pumpledger.reports.fleet_page import Row
from pumpledger.units import System


def curve_facts(row: Row | None, units: System) -> list[tuple[str, str]]:
    """Label and value of what a manager must know before believing the two pictures; nothing where no row is known."""
    if row is None:
        return []
    facts = [("Flow rests on", _source(row["flow_source"], row["flow_basis"], _method(row)))]
    if row["zero_flow_speed_rpm"] is not None:
        lifted = wording.quantity(row["static_head_m"], "head", units)
        facts.append(
            (
                "Zero-flow speed",
                f"{wording.speed(row['zero_flow_speed_rpm'])}: at or below it the pump turns, draws power and moves no "
                f"water, for the water is lifted {lifted}",
            )
        )
    facts.append(("Wire power rests on", _source(row["power_source"], row["power_basis"], _exponent(row))))
    return facts


def _source(source: object, basis: object, more: str) -> str:
    name = "nothing" if source == "none" else str(source)
    return f"{name}: {basis}{'; ' + more if more else ''}"


def _method(row: Row) -> str:
    return "" if row["flow_method"] == "none" else f"interval by {row['flow_method']}"


def _exponent(row: Row) -> str:
    if row["exponent"] is None:
        return ""
    ends = "" if row["exponent_lo"] is None else f" ({wording.span(row['exponent_lo'], row['exponent_hi'], 2)})"
    reach = f"{wording.speed(row['lowest_rpm'])} to {wording.speed(row['highest_rpm'])}"
    base = f"{wording.number(row['base_w'], 0)}{wording.NO_BREAK}W constant and "
    return f"fitted: {base}exponent {wording.number(row['exponent'], 2)}{ends}, for {reach} only"
