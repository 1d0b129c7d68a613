"""Doubts about sources and pumps' logs: what the fleet's page, a site's page and the terminal say of them.

Belongs here: choosing, ordering and wording verdicts. What a later export replaced stands in `replaced`; how a doubt
arises, in the package `verdicts`.
"""

from __future__ import annotations

import polars as pl

from pumpledger.reports import wording
from pumpledger.reports.data import ReviewData, rows_by

Row = dict[str, object]

MOST_ROWS = 200  # of one table on the page; all of them stand in verdicts.csv
STATE_WORDS = {
    ("open", True): "open, numbers held back",
    ("open", False): "open, nothing held back",
    ("confirmed", True): "confirmed and still seen, numbers held back",
    ("confirmed", False): "confirmed and still seen, nothing held back",
    ("refused", True): "refused, numbers held back",
    ("refused", False): "refused, the readings count as they are",
    ("applied", True): "applied, numbers held back",
    ("applied", False): "applied",
}
_NO_REMEDY = "none that the intake can apply: mend it where the log is made"


def in_order(verdicts: pl.DataFrame) -> pl.DataFrame:
    """Verdicts as they are listed: those that hold numbers back and wait for a decision first, then the others that
    hold numbers back, then open, confirmed, refused, applied; within each, a whole source before single pumps."""
    state = pl.col("state")
    place = pl.when(state == "applied").then(5).when(state == "refused").then(4).when(state == "confirmed").then(3)
    held = pl.when(state == "open").then(0).otherwise(1)
    return verdicts.sort(
        pl.when(pl.col("blocks") & (state != "applied")).then(held).otherwise(place.otherwise(2)),
        pl.col("pump_id") != "",
        "mode",
        "source",
        "pump_id",
        "quantity",
        "verdict_id",
    )


def verdict_section(data: ReviewData) -> Row:
    """``to_decide`` and ``applied``, rows for the template, with how many of each are ``left`` off the page."""
    rows = _grouped(data)
    waiting = [row for row in rows if row["state"] != "applied"]
    applied = [row for row in rows if row["state"] == "applied"]
    return {
        "to_decide": waiting[:MOST_ROWS],
        "to_decide_all": len(waiting),
        "open": sum(row["state"] == "open" for row in waiting),
        "holding": sum(bool(row["blocks"]) for row in waiting),
        "applied": applied[:MOST_ROWS],
        "applied_all": len(applied),
        "decided": data.decisions.sort("decided_on", "verdict_id", "source", "pump_id").rows(named=True),
        "most": MOST_ROWS,
    }


def source_doubts(data: ReviewData) -> list[Row]:
    """Whole sources whose numbers are held back: they stand before any site finding."""
    return [row for row in _grouped(data) if row["blocks"] and not row["pump_id"]]


def source_doubt_line(data: ReviewData) -> str:
    """The same as one line for the terminal; empty where there is none."""
    rows = source_doubts(data)
    if not rows:
        return ""
    first = rows[0]
    more = f"; and {wording.count(len(rows) - 1, 'more source')}, see the review" if len(rows) > 1 else ""
    command = first["confirm"] or first["refuse"]
    where = f"{first['source']}, {first['touches']}"
    return f"Decide first: {first['sentence']} {where}, numbers held back: {command}{more}"


def held_back(data: ReviewData) -> dict[str, Row]:
    """``site_id -> pumps, verdicts`` of the sites whose numbers are held back.

    ``pumps`` holds pump_id and doubt (the phrase of DOUBTS, empty where a verdict alone holds the pump back);
    ``verdicts`` each verdict once, with the site's pumps that it reaches. An expectation that failed has no verdict.
    """
    sites = dict(data.pump.select("pump_id", "site_id").iter_rows())
    sources = dict(data.pump_sources.select("pump_id", "source").iter_rows())
    blocking = in_order(data.verdicts.filter(pl.col("blocks")))
    own = rows_by(blocking.filter(pl.col("pump_id") != ""), "pump_id")
    whole = rows_by(blocking.filter(pl.col("pump_id") == ""), "source")
    phrases = dict(data.doubts.select("pump_id", "doubt").iter_rows())
    found: dict[str, Row] = {}
    for pump_id in sorted(sites):
        verdicts = [*whole.get(sources.get(pump_id, ""), []), *own.get(pump_id, [])]
        phrase = phrases.get(pump_id) or ""
        if not verdicts and not phrase:
            continue
        site = found.setdefault(sites[pump_id], {"pumps": [], "verdicts": {}})
        site["pumps"].append({"pump_id": pump_id, "doubt": phrase})
        for row in verdicts:
            known = site["verdicts"].setdefault(row["verdict_id"], {**_worded(row), "reaches": []})
            known["reaches"].append(pump_id)
            if row["sentence"] in phrase:
                known["sentence"] = ""  # it stands above
    return {site_id: {**site, "verdicts": list(site["verdicts"].values())} for site_id, site in found.items()}


def _grouped(data: ReviewData) -> list[Row]:
    """One row a verdict: both logs of a swap are one, because one decision settles both."""
    sites = dict(data.pump.select("pump_id", "site_id").iter_rows())
    of_source = rows_by(data.pump_sources.sort("source", "pump_id"), "source")
    grouped: dict[str, list[Row]] = {}
    for row in in_order(data.verdicts).iter_rows(named=True):
        grouped.setdefault(row["verdict_id"], []).append(row)
    shown = []
    for rows in grouped.values():
        first = rows[0]
        whole = not first["pump_id"]
        pumps = [row["pump_id"] for row in (of_source.get(first["source"], []) if whole else rows)]
        places = sorted({sites[pump] for pump in pumps if pump in sites})
        amount = first["pumps"] if whole else len(pumps)
        at = f" at {wording.count(len(places), 'site')}" if places else ""
        shown.append(
            {
                **_worded(first),
                "sources": ", ".join(dict.fromkeys(row["source"] for row in rows)),
                "sentence": " ".join(dict.fromkeys(row["sentence"] for row in rows)),
                "evidence": "; ".join(dict.fromkeys(row["evidence"] for row in rows if row["evidence"])),
                "where": [{"pump_id": pump, "site_id": sites.get(pump, "")} for pump in pumps],
                "amount": amount,
                "touches": f"{wording.count(amount, 'pump')}{at}",
            }
        )
    return shown


def _worded(row: Row) -> Row:
    """A verdict with its state, days and the commands that decide it, in words.

    The fleet folder is written FLEET: a path of this machine has no place in a page that is sent on.
    """
    state, blocks, identifier = row["state"], bool(row["blocks"]), row["verdict_id"]
    days = [wording.weekday(day) for day in (row["first_day"], row["last_day"]) if day]
    command = "pumpledger verdict FLEET --{} {} --by NAME"
    return {
        **row,
        "blocks": blocks,
        "state_words": STATE_WORDS.get((state, blocks), state),
        "days": " to ".join(dict.fromkeys(days)),
        "sure": wording.percent(row["sureness"]),
        "cure": row["remedy"] or ("none needed" if state == "applied" else _NO_REMEDY),
        "confirm": command.format("confirm", identifier) if state in ("open", "refused") else "",
        "refuse": command.format("refuse", identifier) if state != "refused" else "",
    }
