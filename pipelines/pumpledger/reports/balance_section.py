"""What stands behind a pump's numbers, for a site's page: its energy by each way that tells it, and its filter in words.

Belongs here: choosing and wording rows of one pump. The numbers come from the tables ``balance`` and ``loading``.
"""

from __future__ import annotations

from datetime import date

from pumpledger.reports import wording
from pumpledger.reports.data import ReviewData, rows_by
from pumpledger.reports.fleet_page import Row

_WAYS = ("power_kwh", "counter_kwh", "curve_kwh", "standby_kwh")


class BalanceSections:
    """Tables grouped once, asked pump by pump."""

    def __init__(self, data: ReviewData) -> None:
        self._balance = rows_by(data.balance.sort("pump_id", "day_local"), "pump_id")
        self._loading = rows_by(data.loading.sort("pump_id", "day_local"), "pump_id")

    def of_pump(self, pump: Row, days: list[date]) -> Row:
        """What the template prints of one pump of the register; what all days say alike is said once."""
        shown = set(days)
        rows = [row for row in self._balance.get(str(pump["pump_id"]), []) if row["day_local"] in shown]
        sentences = {row["sentence"] for row in rows}
        alike = len(sentences) == 1
        return {
            "filter": filter_words(self._loading.get(str(pump["pump_id"]), [])),
            "alike": f"{next(iter(sentences))}." if alike else "",
            "days": [
                {
                    "day": row["day_local"],
                    **{name: wording.number(row[name], 2) for name in _WAYS},
                    "same": _same(row),
                    "verdict": row["verdict"],
                    "sentence": "" if alike else row["sentence"],
                }
                for row in rows
            ],
        }


def filter_words(rows: list[Row]) -> str:
    """The newest day's state of the filter, with what the flow is multiplied by."""
    if not rows:
        return "Filter: nothing is known of it."
    last = rows[-1]
    if last["state"] == "loading":
        low, mid, high = (wording.percent(last[f"flow_factor_{bound}"]) for bound in ("lo", "mid", "hi"))
        return f"Filter: loading. Its flow is taken as {mid} of the clean flow ({low} to {high}). {_first_up(last['basis'])}."
    if last["state"] == "clean":
        return f"Filter: no loading seen. {_first_up(last['basis'].removeprefix('no loading seen: '))}."
    return f"Filter: cannot tell. {_first_up(last['basis'])}."


def _same(row: Row) -> str:
    """Both meters over the same time, and how far apart."""
    if row["difference_share"] is None:
        return wording.DASH
    power, counter = (wording.number(row[name], 2) for name in ("power_same_kwh", "counter_same_kwh"))
    return f"{power} against {counter}, {wording.number(row['difference_share'] * 100, 1)} %"


def _first_up(words: object) -> str:
    text = str(words)
    return text[:1].upper() + text[1:]
