"""`pumpledger propose`: the cheapest plan of each pump as things are, or with something asked to be otherwise, and putting
a plan that was keyed in on record.

Belongs here: what may be asked, what is refused, and the lines. Restraint stands in `proposing.py`, phrases in
`reports/proposal_words.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import polars as pl

from pumpledger.diagnosis.observed_plan import PlanRow, clock
from pumpledger.engine.tables import FINDINGS, PROFILE
from pumpledger.followup.keyed import KeyedPlan, add_keyed
from pumpledger.orchestration.adopting import FILE, append_plan
from pumpledger.orchestration.proposing import names_by_site, restrained, rules_by_site
from pumpledger.orchestration.session import Session
from pumpledger.planning.cures import with_cures
from pumpledger.planning.frontier import frontier, in_force_point
from pumpledger.planning.offers import Answer, simplest, tables
from pumpledger.planning.problem import PlanProblem
from pumpledger.planning.rules import PLACES
from pumpledger.planning.wishes import Wishes, usual_wishes
from pumpledger.problems import FleetError, Problem
from pumpledger.profile.calendar import week_days
from pumpledger.reports.data import FRONTIER, ReviewData
from pumpledger.reports.keying_card import KeyingCards
from pumpledger.reports.proposal_words import (
    cost_words,
    left_words,
    proof_words,
    saving_words,
    state_words,
    water_words,
    why_words,
)
from pumpledger.reports.wording import NO_BREAK
from pumpledger.workspace import write_whole

_WINDOW = re.compile(r"([01]\d|2[0-3]):(00|15|30|45)-([01]\d|2[0-4]):(00|15|30|45)(?:@(\d{1,4}))?")


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked to be otherwise; None or empty: as the register says.

    ``quiet`` and ``load`` as ``22:00-07:00``, a quiet window with ``@1200`` where it has a highest speed [rev/min]
    instead of standing still; ``pause`` the longest pause [h].
    """

    site: str | None = None
    turnovers: float | None = None
    tariff: str | None = None
    quiet: tuple[str, ...] = ()
    load: str | None = None
    pause: float | None = None
    place: str | None = None
    periods: int | None = None

    def words(self) -> str:
        """For the head of a page: each thing that was asked."""
        parts = [
            self.site and f"site {self.site}",
            self.turnovers is not None and f"{self.turnovers:g} turnovers a day",
            self.tariff and f"tariff {self.tariff}",
            *(f"quiet {window}" for window in self.quiet),
            self.load and f"load runs {self.load}",
            self.pause is not None and f"no pause over {self.pause:g} h",
            self.place and f"rules of {self.place}",
            self.periods is not None and f"at most {self.periods} periods",
        ]
        return "; ".join(str(part) for part in parts if part) or "Nothing but what the register asks"


@dataclass(frozen=True, slots=True)
class Offer:
    """One pump's answer, with the rows that tell it."""

    problem: PlanProblem
    answer: Answer
    row: dict[str, object]
    periods: tuple[dict[str, object], ...]


class Proposing:
    """One fleet's newest review, asked for plans.

    Raises:
        FleetError: no review yet, no such site or tariff, or something that may not be asked.
    """

    def __init__(self, folder: Path, asked: Asked) -> None:
        self.session, self.asked = Session(folder), asked
        weeks = self.session.lake.weeks(PROFILE)
        if not weeks:
            raise _refused("no review has been made yet; run `pumpledger review` first")
        self.week = weeks[-1]
        site = self._site()
        found = self.session.lake.read(FINDINGS, self.week).filter(verdict="found", explained_by="")
        problems = restrained(self.session, self.week, found, usual=self._wishes(), site=site)
        self._names, self._rules = names_by_site(found), rules_by_site(found)
        self.problems = [p for p in problems if asked.site is None or p.site_id == asked.site]
        self.site = site

    def offers(self) -> Iterator[Offer]:
        """Pump by pump, as each is found."""
        for problem in self.problems:
            answer = with_cures(problem, simplest(problem), self._rules.get(problem.site_id, ()))
            rows, periods = tables([(problem, answer, self._names.get(problem.site_id, ""))])
            yield Offer(problem, answer, rows.row(0, named=True), tuple(periods.iter_rows(named=True)))

    def lines(self, offer: Offer) -> Iterator[str]:
        """What the terminal says of one pump."""
        yield from (line.replace(NO_BREAK, " ") for line in self._told(offer))

    def _told(self, offer: Offer) -> Iterator[str]:
        row, currency = offer.row, self.session.register.currency
        if row["state"] != "proposed":
            yield f"{offer.problem.site_id} {offer.problem.pump_id}: {state_words(row)}"
            yield from (f"    {sentence}" for sentence in left_words(row))
            return
        yield f"{offer.problem.site_id} {offer.problem.pump_id}: key in"
        for plan in plan_rows(offer):
            yield f"    {plan.words()}"
        yield f"  Cost {cost_words(row, currency)}; {water_words(row)}."
        yield f"  {proof_words(row, currency)}"
        yield f"  {saving_words(row, currency)}"
        yield from (f"  {sentence}" for sentence in why_words(row))
        yield "  Rows for plans.csv once it is keyed in, with that day in place of DAY:"
        for number, plan in enumerate(plan_rows(offer), 1):
            times = f"{clock(plan.start_min)},{clock(plan.stop_min)}"
            yield f"    {offer.problem.pump_id},DAY,{number},{plan.speed_rpm},{times}"

    def write_page(self, path: Path, offers: list[Offer]) -> None:
        """One page with the cards of these pumps, each with cost against turnover and the day over the tariff."""
        register, days = self.session.register, week_days(self.week)
        asked = [(offer.problem, offer.answer, str(offer.row["found"])) for offer in offers]
        proposals, periods = tables(asked)
        with self.session.database(days) as db:
            prices = db.query("planning/quarter_price")
        data = ReviewData(
            fleet_name=register.name,
            made_up=register.made_up,
            week=self.week,
            first_day=days[0],
            last_day=days[6],
            units=register.units,
            currency=register.currency,
            site=self.site,
            pump=register.pump,
            plan=register.plan,
            proposals=proposals,
            proposed_periods=periods,
            quarter_price=prices,
            frontier=self._frontier(offers),
        )
        write_whole(path, KeyingCards(data).what_if(self.asked.words()).encode())

    def adopt(self, offers: list[Offer], day_text: str, keyed_by: str = "") -> Iterator[str]:
        """Add the proposed plans to plans.csv from the day on which they were keyed in, and keep what is expected."""
        day = _day(day_text)
        if self.asked.turnovers is not None or self.asked.tariff is not None:
            raise _refused("what is asked of turnovers or tariff is not what the register says; change sites.csv first")
        if self.asked.site is None:
            raise _refused("name the site that was keyed in with --site")
        keyed = [offer for offer in offers if offer.row["state"] == "proposed"]
        if not keyed:
            raise _refused(f"nothing is proposed for {self.asked.site}, so nothing can be put on record")
        plan = self.session.register.plan
        for offer in keyed:
            newest = plan.filter(pl.col("pump_id") == offer.problem.pump_id)["valid_from"].max()
            if newest is not None and day <= newest:
                raise _refused(f"a plan of {newest} is on record already; a new one must begin later than that")
        if day < week_days(self.week)[0] - timedelta(days=7):
            raise _refused(f"the proposal rests on the week {self.week}; it cannot have been keyed in on {day}")
        folder = self.session.workspace.folder
        with self.session.workspace.lock():
            for offer in keyed:
                append_plan(folder / FILE, offer.problem.pump_id, day, plan_rows(offer))
            add_keyed(folder, [self._kept(offer, day, keyed_by) for offer in keyed])
        for offer in keyed:
            yield f"{offer.problem.pump_id}: added to {FILE} from {day}. The next reviews hold what runs against it."

    def _site(self) -> pl.DataFrame:
        """The register's sites with the turnovers and the tariff that are asked."""
        site, asked = self.session.register.site_in(week_days(self.week)[6].month), self.asked
        if asked.site is not None and asked.site not in site["site_id"]:
            raise _refused(f"there is no site {asked.site!r} in sites.csv, or it is set aside")
        mine = pl.lit(True) if asked.site is None else pl.col("site_id") == asked.site
        if asked.turnovers is not None:
            less = site.filter(mine, pl.col("pool_class") == "public", pl.col("required_turnovers") > asked.turnovers)
            if less.height:
                raise _refused(f"{less['site_id'][0]} is a public pool: no plan is made below its required turnovers")
            site = site.with_columns(
                required_turnovers=pl.when(mine).then(pl.lit(asked.turnovers)).otherwise("required_turnovers")
            )
        if asked.tariff is not None:
            known = sorted(self.session.register.tariff_band["tariff"].unique())
            if asked.tariff not in known:
                raise _refused(f"there is no tariff {asked.tariff!r} in tariffs/; known: {', '.join(known) or 'none'}")
            site = site.with_columns(tariff=pl.when(mine).then(pl.lit(asked.tariff)).otherwise("tariff"))
        return site

    def _wishes(self) -> Wishes:
        asked = self.asked
        if asked.place is not None and asked.place not in PLACES:
            raise _refused(f"no rules are on file for {asked.place!r}; known: {', '.join(PLACES)}")
        return replace(
            usual_wishes(self.session.register.fleet.proposals),
            rules=None if asked.place is None else PLACES[asked.place],
            quiet=tuple(window(text) for text in asked.quiet) or None,
            load_window=window(asked.load)[:2] if asked.load else None,
            longest_pause=None if asked.pause is None else round(asked.pause * 4),
            most_periods=asked.periods,
        )

    def _frontier(self, offers: list[Offer]) -> pl.DataFrame:
        rows = []
        for offer in offers:
            problem = offer.problem
            public = self.site.filter(site_id=problem.site_id)["pool_class"][0] == "public"
            points = frontier(problem, (1.0, 1.25, 1.5, 1.75, 2.0)) if public else frontier(problem)
            now = in_force_point(problem) if points else None
            rows += [(problem.pump_id, False, p.turnovers, p.cost, p.bound) for p in points]
            rows += [(problem.pump_id, True, now.turnovers, now.cost, now.bound)] if now else []
        return pl.DataFrame(rows, schema=FRONTIER, orient="row")

    def _kept(self, offer: Offer, day: date, keyed_by: str) -> KeyedPlan:
        row, site_id = offer.row, offer.problem.site_id
        pumps = self.session.register.pump.filter(site_id=site_id).height
        # The accounts tell a pump's turnovers of the whole pool, a proposal of the pump's share.
        water = [None if row[f"turnovers_{e}"] is None else row[f"turnovers_{e}"] / pumps for e in ("lo", "mid", "hi")]
        energy = [row[f"energy_kwh_{end}"] for end in ("lo", "mid", "hi")]
        return KeyedPlan(site_id, offer.problem.pump_id, day, keyed_by, self.week, *energy, *water)


def plan_rows(offer: Offer) -> tuple[PlanRow, ...]:
    """The periods as plans.csv holds them."""
    return tuple(PlanRow(int(p["start_min"]), int(p["stop_min"]), int(p["speed_rpm"])) for p in offer.periods)


def window(text: str) -> tuple[int, int, float]:
    """First quarter, quarters and highest speed [rev/min; 0 off] of ``22:00-07:00`` or ``22:00-07:00@1200``.

    Raises:
        FleetError: not such a window, or one without length.
    """
    match = _WINDOW.fullmatch(text)
    if match:
        hour, minute, stop_hour, stop_minute = map(int, match.groups()[:4])
        start, stop = hour * 4 + minute // 15, stop_hour * 4 + stop_minute // 15
        if stop <= 96 and start != stop:
            return start, (stop - start) % 96 or 96, float(match[5] or 0)
    raise _refused(f"{text!r} is no window in quarter hours such as 22:00-07:00 or 22:00-07:00@1200")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise _refused(f"{text!r} is not a day such as 2026-11-09") from None


def _refused(sentence: str) -> FleetError:
    return FleetError(Problem("propose_refused", sentence))
