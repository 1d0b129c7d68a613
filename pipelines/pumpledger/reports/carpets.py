"""Carpets and their text twins for any pump, from tables grouped once for the whole fleet.

Belongs here: bringing profile, spans, plan and air together by pump and day. Geometry is in `svg_carpet`, words in
`wording`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import polars as pl

from pumpledger.reports import runs
from pumpledger.reports.data import ReviewData
from pumpledger.reports.svg_carpet import DayRow, Shape, carpet, day_clock
from pumpledger.reports.wording import Stretch, day_in_words, days_in_words, quantity

FROST_C = 0.0
_OFF_PLAN = ("override", "unexplained", "freeze protection", "auxiliary load")


class Carpets:
    """Grouped once, asked often."""

    def __init__(self, data: ReviewData) -> None:
        self._zones = {site_id: zone or "UTC" for site_id, zone in data.site.select("site_id", "zone").iter_rows()}
        self._weather = dict(data.site.select("site_id", "weather").iter_rows())
        self._runs = runs.speed_runs(data.profile)
        self._plans = runs.plan_runs(data.plan_slot)
        self._aux = runs.aux_runs(data.profile)
        self._outlines = _outlines(data.spans)
        self._stretches = _stretches(data.spans, self._zones)
        self._frost = _frost(data, self._zones, self._weather)
        self._words: dict[runs.DayKey, str] = {}

    def svg(self, site_id: str, pump_id: str, days: Sequence[date], shape: Shape, label: str, described_by: str) -> str:
        """The carpet of ``days``, oldest on top."""
        zone = self._zones[site_id]
        rows = [
            DayRow(
                day=day,
                zone=zone,
                runs=self._runs.get((pump_id, day), ()),
                plan=self._plans.get((pump_id, day)),
                aux=self._aux.get((pump_id, day), ()),
                outlines=self._outlines.get((pump_id, day), ()),
                frost=self._frost.get((self._weather.get(site_id), zone, day), ""),
            )
            for day in days
        ]
        return carpet(rows, shape, label, described_by)

    def words(self, site_id: str, pump_id: str, days: Sequence[date]) -> list[tuple[str, str]]:
        """The text twin: ``[("Mon 2 Nov to Wed 4 Nov", "ran 06:00 to 14:00 at 1,200 rpm; otherwise off"), ...]``."""
        zone = self._zones[site_id]
        return days_in_words((day, self._day_words(pump_id, day, zone)) for day in days)

    def _day_words(self, pump_id: str, day: date, zone: str) -> str:
        key = (pump_id, day)
        if key not in self._words:
            length = day_clock(zone, day)[0]
            text = day_in_words(self._stretches.get(key, ()), int(length))
            self._words[key] = text if length == 1440 else f"{text} (a day of {int(length) // 60} hours)"
        return self._words[key]


def _outlines(spans: pl.DataFrame) -> dict[runs.DayKey, list[tuple[float, float, str]]]:
    grouped: dict[runs.DayKey, list[tuple[float, float, str]]] = {}
    off_plan = spans.filter(pl.col("cause").is_in(_OFF_PLAN)).sort("pump_id", "start_utc")
    for pump_id, day, start, duration, cause in off_plan.select(
        "pump_id", "day_local", "start_min", "duration_min", "cause"
    ).iter_rows():
        held = grouped.setdefault((pump_id, day), [])
        if held and held[-1][2] == cause and abs(held[-1][0] + held[-1][1] - start) < runs.SHORTEST_MIN:
            held[-1] = (held[-1][0], held[-1][1] + duration, cause)
        else:
            held.append((start, duration, cause))
    return grouped


def _stretches(spans: pl.DataFrame, zones: dict[str, str]) -> dict[runs.DayKey, list[Stretch]]:
    """Spans as wall-clock stretches; neighbours of one state, cause and grid speed are joined."""
    grouped: dict[runs.DayKey, list[Stretch]] = {}
    zone_of = pl.col("site_id").replace_strict(zones, default="UTC", return_dtype=pl.String)
    joined = _joined(spans.with_columns(zone_of.alias("zone")))
    for zone in sorted(set(zones.values()) | {"UTC"}):
        local = [
            pl.col(name).dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.strftime("%H:%M")
            for name in ("start_utc", "end_utc")
        ]
        rows = joined.filter(pl.col("zone") == zone).select(
            "pump_id", "day_local", "kind", "cause", *local, "speed_rpm", "duration_min"
        )
        for pump_id, day, kind, cause, start, stop, speed, duration in rows.iter_rows():
            end = "24:00" if stop == "00:00" else stop
            rounded = round((speed or 0.0) / 5) * 5
            grouped.setdefault((pump_id, day), []).append((kind, cause, start, end, rounded, duration))
    return grouped


def _joined(spans: pl.DataFrame) -> pl.DataFrame:
    told = pl.col("cause").is_in([*_OFF_PLAN, "priming"])
    rows = spans.select(
        "pump_id",
        "day_local",
        "kind",
        "zone",
        "start_utc",
        "end_utc",
        "speed_rpm",
        "duration_min",
        pl.when(told).then("cause").otherwise(pl.lit("")).alias("cause"),
        (pl.col("speed_rpm") / runs.SPEED_STEP_RPM).round().fill_null(-1.0).alias("step"),
    ).sort("pump_id", "start_utc")
    same = [pl.col(name) == pl.col(name).shift() for name in ("pump_id", "day_local", "kind", "cause", "step")]
    continues = pl.all_horizontal(*same, pl.col("start_utc") == pl.col("end_utc").shift()).fill_null(False)
    return (
        rows.with_columns((~continues).cum_sum().alias("run"))
        .group_by("run", maintain_order=True)
        .agg(
            pl.col("pump_id", "day_local", "kind", "zone", "cause", "start_utc").first(),
            pl.col("end_utc").last(),
            ((pl.col("speed_rpm") * pl.col("duration_min")).sum() / pl.col("duration_min").sum()).alias("speed_rpm"),
            pl.col("duration_min").sum(),
        )
    )


def _frost(
    data: ReviewData, zones: dict[str, str], weather: dict[str, str | None]
) -> dict[tuple[str | None, str, date], str]:
    """Coldest air in words for each station, zone and local day on which it froze."""
    found: dict[tuple[str | None, str, date], str] = {}
    pairs = {(weather[site_id], zone) for site_id, zone in zones.items() if weather.get(site_id)}
    for station, zone in sorted(pairs):
        day = pl.col("time_utc").dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.date().alias("day")
        coldest = (
            data.air.filter(pl.col("weather") == station)
            .group_by(day)
            .agg(pl.col("air_temperature_c").min().alias("low"))
        )
        for local, low in coldest.filter(pl.col("low") <= FROST_C).iter_rows():
            found[(station, zone, local)] = quantity(low, "temperature", data.units)
    return found
