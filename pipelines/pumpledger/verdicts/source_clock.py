"""Mode B5: a whole source in the wrong time zone. Matches every pump's days against its plan, and asks which zone of
the stamps would bring most pumps of a source back to their plans at once.

Belongs here: the vote, the zones that are tried, and the words. The matching stands in `profile/plan_match.py`; what
one pump's own clock shows is a finding, which comes after.

A source is never accused of what a pump does: an offset that pumps whose own clocks were not moved at a clock change
would show, and that no zone explains, is left to the findings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from pumpledger.engine.database import Database
from pumpledger.profile import plan_match
from pumpledger.profile.plan_match import FITS, QUARTER_MIN, QUARTERS, SHIFTED, MatchLimits
from pumpledger.verdicts.mode import SUSPICIONS
from pumpledger.verdicts.quarter_hours import QuarterHours, has_table, quarter_hours

DAY_MIN = 1440
HALF_DAY_MIN = 720
OFFSET = "offset"
HALF_DAY = "twelve hours"  # no zone: stamps whose half of the day is lost, and all pumps 12 h out


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What one stretch of days shows of each pump of one source: (pumps,) arrays.

    ``shift_min`` is how late the pump runs against its plan, 0 where it fits; ``shifted`` and ``fits`` are the verdicts
    of the match; ``site_min`` and ``read_min`` are the offsets east of UTC of the site's zone and of the zone by which
    the stamps were read [min].
    """

    days: list[date]
    shift_min: np.ndarray
    shifted: np.ndarray
    fits: np.ndarray
    plan: np.ndarray
    unshifted_rpm: np.ndarray
    best_rpm: np.ndarray
    site_min: np.ndarray
    read_min: np.ndarray


@dataclass(frozen=True, slots=True)
class Vote:
    """How many pumps can tell, and how many of them say what a zone predicts; ``late_min`` is the shift that it
    predicts for most of those."""

    voters: int
    agree: int
    late_min: int

    def carries(self, share: float, pumps: float) -> bool:
        return self.agree >= pumps and self.agree >= share * self.voters


def wrapped(minutes: np.ndarray | int) -> np.ndarray:
    """Minutes round the clock as -705..720."""
    folded = np.mod(np.asarray(minutes), DAY_MIN)
    return np.where(folded > HALF_DAY_MIN, folded - DAY_MIN, folded)


@cache
def offset_min(zone: str, day: date) -> int:
    """Offset east of UTC of a zone at noon of ``day`` [min]; ``utc`` and fixed offsets such as ``+02:00`` are zones."""
    if zone == "utc":
        return 0
    if zone[0] in "+-":
        return (1 if zone[0] == "+" else -1) * (int(zone[1:3]) * 60 + int(zone[4:6]))
    shift = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)).utcoffset()
    return round(shift.total_seconds() / 60) if shift is not None else 0


def fixed_zone(minutes: int) -> str:
    """``+05:30`` for 330."""
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def mode_b5(db: Database, parameters: Mapping[str, float]) -> pl.DataFrame:
    """Sources whose pumps all run at one offset from their plans, and the zone of the stamps that would explain it.

    Inputs: those of `quarter_hours`, and source_dialect (source, zone: the dialect's zone by which its exports are
    read). Parameters: those of MatchLimits, days_least, vote_share, vote_pumps.
    """
    if not has_table(db, "source_dialect"):
        return SUSPICIONS.empty()
    read_by = dict(db.table("source_dialect").select("source", "zone").iter_rows())
    quarters = quarter_hours(db)
    big = [source for source in sorted(set(quarters.source.tolist()) & set(read_by))
           if (quarters.source == source).sum() >= parameters["vote_pumps"]]  # fmt: skip
    rows = []
    for source in big:
        asker = SourceClock(quarters, source, read_by[source], parameters)
        row = asker.suspicion()
        if row:
            rows.append(row)
    return SUSPICIONS.conform(pl.DataFrame(rows, schema=SUSPICIONS.schema))


def stretches(quarters: QuarterHours) -> list[list[int]]:
    """Day numbers, cut at ISO weeks and at every day on which a zone of the fleet changes its clocks."""
    changes = (quarters.day_min != DAY_MIN).any(axis=0)
    cut: list[list[int]] = []
    for number, day in enumerate(quarters.days):
        if not cut or day.isoweekday() == 1 or changes[number] or changes[number - 1]:
            cut.append([])
        cut[-1].append(number)
    return cut


class SourceClock:
    """The vote of one source."""

    def __init__(self, quarters: QuarterHours, source: str, read_zone: str, parameters: Mapping[str, float]) -> None:
        self.quarters, self.source, self.read_zone = quarters, source, read_zone
        self.pumps = np.flatnonzero(quarters.source == source)
        self.zones = quarters.zone[self.pumps].tolist()
        self.limits = MatchLimits(**{name: parameters[name] for name in MatchLimits.__dataclass_fields__})
        self.least = int(parameters["days_least"])
        self.share, self.least_pumps = parameters["vote_share"], parameters["vote_pumps"]
        coverage = quarters.coverage()[self.pumps]
        whole = quarters.day_min[self.pumps] == DAY_MIN
        self.valid = (coverage >= plan_match.OBSERVED_LEAST) & whole
        self.observed = quarters.observed[self.pumps][:, :, :QUARTERS].astype(np.float64)
        self.planned = quarters.planned[self.pumps][:, :, :QUARTERS].astype(np.float64)
        self.valid &= ~np.isnan(self.planned).any(axis=2)
        self._votes: dict[tuple[str, date], Vote] = {}

    def seen(self, stretch: list[int]) -> Seen:
        """Match of each pump's median day of the stretch; only days on which the plan of the last valid one held."""
        valid = self.valid[:, stretch]
        planned, observed = self.planned[:, stretch], self.observed[:, stretch]
        last = valid.shape[1] - 1 - valid[:, ::-1].argmax(axis=1)
        plan = np.nan_to_num(planned[np.arange(len(planned)), last])
        used = valid & (planned == plan[:, None, :]).all(axis=2)
        enough = used.sum(axis=1) >= self.least
        days = np.where(used[:, :, None], observed, np.nan)
        found = plan_match.match(plan_match.median_profile(days), plan, self.limits)
        shifted, fits = (found.verdict == SHIFTED) & enough, (found.verdict == FITS) & enough
        dates = [self.quarters.days[number] for number in stretch]
        site = np.array([offset_min(zone, dates[0]) for zone in self.zones])
        return Seen(dates, np.where(shifted, found.shift_min, 0), shifted, fits, plan, found.cost_unshifted_rpm,
                    found.cost_best_rpm, site, self.read_min(dates[0], site))  # fmt: skip

    def read_min(self, day: date, site: np.ndarray) -> np.ndarray:
        """Offsets by which the stamps of ``day`` were read; a stamp with its own offset is taken as UTC."""
        if self.read_zone == "site":
            return site
        return np.full(len(site), 0 if self.read_zone == OFFSET else offset_min(self.read_zone, day))

    def predicted(self, zone: str, seen: Seen) -> np.ndarray:
        """How late each pump would seem [min] if the stamps were of ``zone``."""
        if zone == HALF_DAY:
            return np.full(len(self.pumps), HALF_DAY_MIN)
        truth = seen.site_min if zone == "site" else np.full(len(self.pumps), offset_min(zone, seen.days[0]))
        return wrapped(truth - seen.read_min)

    def vote(self, zone: str, seen: Seen) -> Vote:
        """Pumps that see what ``zone`` predicts, within a quarter hour. A pump on its plan has a vote only where its
        plan would show the shift at all."""
        key = (zone, seen.days[0])
        if key not in self._votes:
            self._votes[key] = self._counted(zone, seen)
        return self._votes[key]

    def _counted(self, zone: str, seen: Seen) -> Vote:
        late = self.predicted(zone, seen)
        can_tell = seen.shifted | seen.fits
        for minutes in np.unique(late[late != 0]).tolist():
            of_this = (late == minutes) & seen.fits
            can_tell[of_this] = plan_match.checkable(seen.plan[of_this], minutes, self.limits)
        agree = can_tell & (np.abs(wrapped(seen.shift_min - late)) <= QUARTER_MIN)
        agree &= (np.abs(late) > QUARTER_MIN) | (seen.shift_min == late)
        values, counts = np.unique(late[agree], return_counts=True)
        return Vote(int(can_tell.sum()), int(agree.sum()), int(values[counts.argmax()]) if len(values) else 0)

    def carried(self, zone: str, seen: Seen) -> bool:
        return self.vote(zone, seen).carries(self.share, self.least_pumps)

    def tried(self, views: list[Seen]) -> list[str]:
        """What is tried, the likeliest first: UTC, the site's wall clock, twelve hours, then fixed offsets that
        enough pumps point at."""
        fixed = Counter(
            minutes for seen in views for minutes in wrapped(seen.read_min + seen.shift_min)[seen.shifted].tolist()
        )
        named = ["utc", "site", HALF_DAY] if self.read_zone != OFFSET else [HALF_DAY]
        enough = [minutes for minutes, pumps in fixed.items() if pumps >= self.least_pumps]
        # A sample each quarter hour sees every change up to that much late, and offsets are whole hours as a rule.
        enough.sort(key=lambda minutes: (minutes % 60 != 0, minutes % 30 != 0, -fixed[minutes], minutes))
        return [*named, *map(fixed_zone, enough)]

    def suspicion(self) -> dict[str, object] | None:
        """The row of SUSPICIONS, if the source is out."""
        views = [self.seen(stretch) for stretch in stretches(self.quarters)]
        views = [seen for seen in views if (seen.shifted | seen.fits).sum() >= self.least_pumps]
        bad = [seen for seen in views if seen.shifted.sum() >= self.least_pumps]
        if not bad:
            return None
        zones = self.tried(bad)
        for zone in zones:
            if all(self.carried(zone, seen) for seen in views) and any(self.is_out(zone, seen) for seen in views):
                return self.row(zone, views, explains_all=True)
        for zone in zones:
            if self.is_out(zone, bad[-1]):
                return self.row(zone, views, explains_all=False)
        return None

    def is_out(self, zone: str, seen: Seen) -> bool:
        """Whether ``zone`` carries the vote with a shift that is not none."""
        vote = self.vote(zone, seen)
        return vote.late_min != 0 and vote.carries(self.share, self.least_pumps)

    def like_unmoved_pumps(self, zone: str, seen: Seen) -> bool:
        """Whether pumps that keep the other half of the year's time would show this shift too."""
        late = self.vote(zone, seen).late_min
        return zone not in ("utc", "site") and late in {unmoved_min(name, seen.days[0]) for name in self.zones} - {0}

    def row(self, zone: str, views: list[Seen], explains_all: bool) -> dict[str, object] | None:
        out = [seen for seen in views if self.is_out(zone, seen)]
        last, vote = out[-1], self.vote(zone, out[-1])
        fixed_over_change = explains_all and any((seen.site_min != last.site_min).any() for seen in views)
        if self.like_unmoved_pumps(zone, last) and not fixed_over_change:
            return None
        half_day = zone == HALF_DAY
        short = abs(vote.late_min) <= QUARTER_MIN
        curable = explains_all and self.read_zone != OFFSET and not half_day and not short
        remedy = f"zone {zone}" if curable else ""
        days = list(self.days_out(zone, out))
        return {
            "source": self.source,
            "pump_id": "",
            "quantity": "time",
            "sentence": self.sentence(zone, views, out, vote, remedy, half_day, short),
            "evidence": self.evidence(zone, views),
            "sureness": vote.agree / vote.voters,
            "blocks": out[-1] is views[-1],
            "remedy": remedy,
            "first_day": min(days, default=out[0].days[0]),
            "last_day": max(days, default=last.days[-1]),
        }

    def days_out(self, zone: str, out: list[Seen]) -> Iterator[date]:
        """Days on which most pumps by themselves fit best at the shift that ``zone`` predicts."""
        for seen in out:
            late = self.predicted(zone, seen)
            for day in seen.days:
                number = self.quarters.days.index(day)
                valid = self.valid[:, number]
                costs = plan_match.shift_costs(
                    self.observed[valid, number], self.planned[valid, number], self.limits.cap_rpm
                )
                own = plan_match.signed_shift_min(np.nan_to_num(costs, nan=np.inf).argmin(axis=1))
                near = np.abs(wrapped(own - late[valid])) <= QUARTER_MIN
                if len(near) and near.mean() > 0.5:
                    yield day

    def sentence(
        self, zone: str, views: list[Seen], out: list[Seen], vote: Vote, remedy: str, half_day: bool, short: bool
    ) -> str:
        """What the data say, for people."""
        way = "late" if vote.late_min > 0 else "early"
        said = (
            f"{vote.agree} of the {vote.voters} pumps of this source whose plans can tell run {abs(vote.late_min)} min "
            f"{way} against them."
        )
        first, end = views.index(out[0]), views.index(out[-1])
        if first and (views[first - 1].site_min != out[0].site_min).any():
            said += f" They did not before the clock change of {self.change_day(views[first - 1], out[0]):%Y-%m-%d}"
            said += (
                ", which the logger's clock followed."
                if zone == "site"
                else ", which the logger's clock did not follow."
            )
        elif first:
            said += f" They did not until {views[first - 1].days[-1]:%Y-%m-%d}."
        if end < len(views) - 1:
            said += f" From {views[end + 1].days[0]:%Y-%m-%d} on they do not."
        if half_day:
            return f"{said} Twelve hours at once look like AM and PM lost in the export: see its time format."
        if short:
            return f"{said} A quarter hour at once looks like stamps at the other end of the interval: see the label."
        if self.read_zone == OFFSET:
            return f"{said} The offset that the stamps carry is wrong: have them exported again, or declare the zone."
        if not remedy:
            return f"{said} Its exports are not all in one zone: declare the later ones as a source of their own."
        names = {"utc": "UTC", "site": "the site's wall clock"}
        return f"{said} Its stamps fit {names.get(zone, zone)}; they are read as {_read_as(self.read_zone)}."

    def change_day(self, before: Seen, after: Seen) -> date:
        """The clock change between two stretches."""
        span = [n for n, day in enumerate(self.quarters.days) if before.days[-1] < day <= after.days[0]]
        changed = [n for n in span if (self.quarters.day_min[self.pumps, n] != DAY_MIN).any()]
        return self.quarters.days[changed[0] if changed else span[0]]

    def evidence(self, zone: str, views: list[Seen]) -> str:
        """The numbers, stretch by stretch."""
        parts = []
        for seen in views:
            vote = self.vote(zone, seen)
            late = self.predicted(zone, seen)
            agree = (seen.shifted | seen.fits) & (np.abs(wrapped(seen.shift_min - late)) <= QUARTER_MIN)
            part = f"{seen.days[0]:%Y-%m-%d} to {seen.days[-1]:%Y-%m-%d}: "
            part += f"{vote.agree} of {vote.voters} at {vote.late_min:+d} min"
            if agree.any():
                part += f", median mismatch {np.median(seen.unshifted_rpm[agree]):.0f} rpm as read"
                part += f", {np.median(seen.best_rpm[agree]):.0f} so moved"
            parts.append(part)
        return "; ".join(parts)


def unmoved_min(zone: str, day: date) -> int:
    """How late pumps run whose clocks keep the other half of the year's time [min]: 0 in a zone without changes."""
    halves = [offset_min(zone, date(day.year, 1, 1)), offset_min(zone, date(day.year, 7, 1))]
    now = offset_min(zone, day)
    return now - (sum(halves) - now)


def _read_as(zone: str) -> str:
    return {"utc": "UTC", "site": "the site's wall clock"}.get(zone, zone)
