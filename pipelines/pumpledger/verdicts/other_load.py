"""Mode B15: someone else on the circuit. Watts that step while the speed stays are not the pump's.

Belongs here: what is said of them. How the steps are found stands in the query. It holds no number back: only what is
claimed of the pump's energy is in doubt, and a person who knows the device refuses the doubt for good.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pumpledger.engine.database import Database
from pumpledger.verdicts.mode import SUSPICIONS


def mode_b15(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Pumps on whose meter another device comes and goes. Inputs: pump_quarter, reading, pump, pump_source."""
    found = db.query("verdicts/other_load", dict(parameters)).join(
        db.table("pump_source").join(db.table("pump").select("pump_id", "aux_load"), on="pump_id", how="left"),
        on="pump_id",
        how="inner",
        maintain_order="left",
    )
    rows = [
        {
            "source": row["source"],
            "pump_id": row["pump_id"],
            "quantity": "power",
            "sentence": f"Something else draws about {row['step_w']:.0f} W on the meter of {row['pump_id']}, on and off "
            f"while its speed stays{_known(row['aux_load'])}.",
            "evidence": f"{row['cycles']} steps on {row['days']} days from {row['first_day']} to {row['last_day']}",
            "sureness": 1.0,
            "blocks": False,
            "remedy": "",
            "first_day": row["first_day"],
            "last_day": row["last_day"],
        }
        for row in found.iter_rows(named=True)
    ]
    return SUSPICIONS.conform(pl.DataFrame(rows, schema=SUSPICIONS.schema))


def _known(aux_load: str | None) -> str:
    return f"; the register names a {aux_load}, whose state is not in the log" if aux_load not in (None, "none") else ""
