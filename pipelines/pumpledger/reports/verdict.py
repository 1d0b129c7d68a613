"""The fleet's week in a few sums, and the same in sentences for page and terminal.

Belongs here: adding up what the tables say, like with like. A sum names how many sites or days stand behind it;
nothing known gives ``None``, never zero.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from pumpledger.reports.data import ReviewData
from pumpledger.reports.data_section import source_doubt_line
from pumpledger.reports.wording import NO_BREAK, count, kwh, money, number, span

NEEDING = ("safety", "this week", "next visit", "data")  # a note needs nobody
_PLAIN = {code: None for code in (*range(32), *range(127, 160))} | {ord(NO_BREAK): " "}


@dataclass(frozen=True, slots=True)
class Interval:
    """A sum over the fleet with its bounds, and one sentence on where they come from (``fleet_savings``)."""

    lo: float
    mid: float
    hi: float
    sources: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """Sums over the review's week."""

    sites: int
    reporting: int
    believable: int
    needing: dict[str, int]
    energy: Interval | None
    energy_sites: int
    compared_kwh: float | None  # on the days below: what was used, and what the simple best plan would use
    compared_best_kwh: float | None
    compared_days: int
    compared_sites: int
    equal: Interval | None
    equal_days: int
    raw: Interval | None
    raw_days: int
    counted_days: int
    savings_days: int
    saved_money: float | None
    money_days: int
    not_counted: list[tuple[str, int]]

    @property
    def needing_sites(self) -> int:
        """Sites that need someone."""
        return sum(self.needing.values())


def fleet_verdict(data: ReviewData) -> Verdict:
    """Add the week up."""
    weeks = data.site_weeks
    in_week = pl.col("day_local").is_between(data.first_day, data.last_day)
    savings = data.savings.filter(in_week)
    counted = savings.filter(pl.col("counted"))
    compared = _against_best_plan(data.daily.filter(in_week), weeks)
    reasons = (
        savings.filter(~pl.col("counted")).group_by("reason").len().sort(["len", "reason"], descending=[True, False])
    )
    priced = counted.filter(pl.col("equal_money_mid").is_not_null())
    severities = dict(data.actions.group_by("severity").agg(pl.col("site_id").n_unique()).iter_rows())
    return Verdict(
        sites=data.site.height,
        reporting=int(weeks["reporting"].sum()),
        believable=int(weeks["believable"].sum()),
        needing={severity: severities[severity] for severity in NEEDING if severities.get(severity)},
        energy=_sum_of(data.fleet_savings, "energy"),
        energy_sites=weeks["energy_kwh_mid"].count(),
        compared_kwh=math.fsum(compared["measured"]) if compared.height else None,
        compared_best_kwh=math.fsum(compared["best"]) if compared.height else None,
        compared_days=compared.height,
        compared_sites=compared["site_id"].n_unique(),
        equal=_sum_of(data.fleet_savings, "equal-volume saving"),
        equal_days=counted["equal_kwh_mid"].count(),
        raw=_sum_of(data.fleet_savings, "raw saving"),
        raw_days=counted["raw_kwh_mid"].count(),
        counted_days=counted.height,
        savings_days=savings.height,
        saved_money=math.fsum(priced["equal_money_mid"]) if priced.height else None,
        money_days=priced.height,
        not_counted=[(reason or "no reason given", rows) for reason, rows in reasons.iter_rows()],
    )


def site_days(daily: pl.DataFrame) -> pl.DataFrame:
    """Pumps added up to site days; a sum is null where one pump's part is, and believed only where every pump is."""
    sums = [f"{name}_{bound}" for name in ("volume_m3", "turnovers", "energy_kwh") for bound in ("lo", "mid", "hi")]
    return (
        daily.sort("site_id", "day_local", "pump_id")
        .group_by("site_id", "day_local", maintain_order=True)
        .agg(
            *(
                pl.when(pl.col(name).is_not_null().all()).then(pl.col(name).sum()).alias(name)
                for name in (*sums, "cost", "run_min")
            ),
            pl.col("coverage").min(),
            pl.col("longest_gap_min").max(),
            pl.col("valid").all(),
            pl.col("believed").all(),
            pl.col("starts").sum(),
            pl.col("volume_source").unique().sort().str.join(", "),
            pl.col("energy_source").unique().sort().str.join(", "),
        )
    )


def _against_best_plan(daily: pl.DataFrame, weeks: pl.DataFrame) -> pl.DataFrame:
    """Site days on which measured energy is believed and a best plan exists: the two on the same days."""
    plans = weeks.filter(pl.col("best_plan_kwh").is_not_null()).select(
        "site_id", (pl.col("best_plan_kwh") / 7).alias("best")
    )
    believed = site_days(daily).filter(pl.col("believed") & pl.col("energy_kwh_mid").is_not_null())
    return (
        believed.join(plans, on="site_id")
        .select("site_id", pl.col("energy_kwh_mid").alias("measured"), "best")
        .sort("site_id")
    )


def _sum_of(fleet_savings: pl.DataFrame, quantity: str) -> Interval | None:
    rows = fleet_savings.filter((pl.col("quantity") == quantity) & (pl.col("place") == 0))
    return Interval(*rows.select("lo_kwh", "mid_kwh", "hi_kwh", "sentence").row(0)) if rows.height else None


def split_by_budget(
    actions: Iterable[dict[str, object]], sites: int, per_100_sites: float
) -> tuple[list[dict], list[dict]]:
    """The week's list and the rest: every safety action, and of the others so many per hundred sites, by rank."""
    left = math.ceil(sites * per_100_sites / 100)
    chosen, rest = [], []
    for action in sorted(actions, key=lambda row: row["rank"]):
        if action["severity"] == "safety":
            chosen.append(action)
        elif left > 0 and action["severity"] != "note":
            chosen.append(action)
            left -= 1
        else:
            rest.append(action)
    return chosen, rest


def verdict_sentences(verdict: Verdict, currency: str) -> list[str]:
    """The verdict in words: who reported, who needs someone, kWh, savings."""
    labels = {
        "safety": "for safety",
        "this week": "this week",
        "next visit": "at the next visit",
        "data": "to mend their data",
    }
    needing = ", ".join(f"{amount} {labels[severity]}" for severity, amount in verdict.needing.items())
    needs = "needs" if verdict.needing_sites == 1 else "need"
    lines = [
        f"{number(verdict.reporting)} of {count(verdict.sites, 'site')} reported; "
        f"{number(verdict.believable)} can be believed.",
        f"{number(verdict.needing_sites)} {needs} someone: {needing}." if needing else "No site needs someone.",
    ]
    return [*lines, energy_sentence(verdict), saving_sentence(verdict, currency)]


def energy_sentence(verdict: Verdict) -> str:
    """Energy of the week, and against the sites' own simple best plans."""
    if verdict.energy is None:
        return "Energy this week: unknown, nothing was metered and no curve is fitted."
    bounds = span(verdict.energy.lo, verdict.energy.hi)
    used = f"{kwh(verdict.energy.mid)} kWh ({bounds}) at {count(verdict.energy_sites, 'site')}"
    if verdict.compared_kwh is None or verdict.compared_best_kwh is None:
        return f"Energy this week: {used}. No site has a simple best plan to compare with."
    over = verdict.compared_kwh - verdict.compared_best_kwh
    held = f"{kwh(abs(over))} kWh {'more' if over >= 0 else 'less'} than the sites' own simple best plans"
    days = f"{count(verdict.compared_days, 'site-day')} of {count(verdict.compared_sites, 'site')}"
    return f"Energy this week: {used}; {held} on the {days} where both are known."


def saving_sentence(verdict: Verdict, currency: str) -> str:
    """Savings at equal volume, with interval, days and money."""
    if verdict.equal is None:
        why = f" Most often: {verdict.not_counted[0][0]}." if verdict.not_counted else ""
        return f"Savings against the single-speed baseline: cannot tell, no site-day could be counted.{why}"
    worth = (
        f", {'worth' if verdict.saved_money >= 0 else 'costing'} {money(abs(verdict.saved_money), currency)} "
        f"on the {count(verdict.money_days, 'site-day')} with a tariff"
        if verdict.saved_money is not None
        else "; no tariff, so no money"
    )
    on = f"on {number(verdict.equal_days)} of {count(verdict.savings_days, 'site-day')}"
    if verdict.equal.hi < 0:
        more = f"{kwh(-verdict.equal.mid)} kWh more ({span(-verdict.equal.hi, -verdict.equal.lo)})"
        return f"No saving: at equal volume the counted sites used {more} than the single-speed baseline, {on}{worth}."
    return (
        f"Savings against the single-speed baseline at equal volume: {kwh(verdict.equal.mid)} kWh "
        f"({span(verdict.equal.lo, verdict.equal.hi)}) {on}{worth}."
    )


def summary_lines(data: ReviewData) -> list[str]:
    """At most ten plain lines for the terminal: a doubt about a whole source, the verdict, the first actions."""
    verdict = fleet_verdict(data)
    made_up = "Made-up data. " if data.made_up else ""
    doubt = source_doubt_line(data)
    lines = [f"{made_up}{data.fleet_name}, week {data.week}", *([doubt] if doubt else [])]
    lines += verdict_sentences(verdict, data.currency)
    first = data.actions.sort("rank").head(4 if doubt else 5)
    lines += [
        f"{row['rank']}. {row['site_id']} ({row['severity']}): {row['action']}" for row in first.iter_rows(named=True)
    ]
    # Names come from files: a control character must not reach the terminal.
    return [str(line).translate(_PLAIN) for line in lines]
