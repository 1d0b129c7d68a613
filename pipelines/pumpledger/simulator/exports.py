"""What each kind of logger writes: rows of text from the truth, week by week.

Belongs here: the five shapes of export. Dropouts and broken rows stand in `noise.py`; which file holds which pump in
`fleet.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from pumpledger.simulator.horizon import Horizon, Week
from pumpledger.simulator.shown import shown_w, speed_texts, watts_texts
from pumpledger.simulator.sites import Pump
from pumpledger.simulator.trace import Trace

_HEARTBEAT_S = 6 * 3600
_CLOSING_S = 30
_METER_NOISE_INSTANT = 0.005
_METER_NOISE_MEAN = 0.002
_QUARTER_S = 900
COUNTER_TURN_KWH = 10_000.0
"""What a counter of four digits and two decimals begins again at [kWh]."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of an export, and the instant it is about [s, UTC], by which files are sorted and days are lost."""

    time_s: float
    pump_id: str
    text: str


@dataclass(frozen=True, slots=True)
class Shape:
    """How a dialect's file looks around its rows; ``write`` makes one pump's rows of one week."""

    header: str
    write: Callable[[Pump, Trace, Horizon, Week, np.random.Generator], list[Row]]
    preamble: tuple[str, ...] = ()
    footer: tuple[str, ...] = ()


def _utc_texts(time_s: np.ndarray) -> list[str]:
    return [f"{text}Z" for text in np.datetime_as_string(time_s.astype("datetime64[s]"))]


def _logged_speed(trace: Trace, time_s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Whole rev/min with a jitter of about five; a pump at rest shows 0."""
    speed = trace.speed_at(time_s)
    jitter = np.clip(np.rint(2.0 * rng.standard_normal(time_s.size)), -5, 5)
    return np.where(speed > 0, np.maximum(np.rint(speed) + jitter, 1), 0).astype(int)


def _noisy(power_w: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    return power_w * (1.0 + np.clip(share * rng.standard_normal(power_w.size), -3 * share, 3 * share))


def _gain(pump: Pump) -> float:
    return 1.0 + pump.errors.meter


def _aux_text(pump: Pump, aux: bool) -> str:
    return "" if pump.aux_load == "none" else "1" if aux else "0"


def _samples(step_s: int) -> Callable[[Pump, Trace, Horizon, Week, np.random.Generator], list[Row]]:
    def write(pump: Pump, trace: Trace, horizon: Horizon, week: Week, rng: np.random.Generator) -> list[Row]:
        time_s = np.arange(week.start_s, week.end_s, step_s)
        speed = _logged_speed(trace, time_s, rng)
        power = shown_w(
            pump.logger_faults, time_s, _noisy(trace.power_at(time_s), _METER_NOISE_INSTANT, rng) * _gain(pump)
        )
        aux = trace.aux_at(time_s)
        stamps = _utc_texts(horizon.local_s(time_s) if pump.stamps_local else time_s)
        return [
            Row(at, pump.pump_id, f"{text},{pump.pump_id},{n},{w},{_aux_text(pump, on)}")
            for at, text, n, w, on in zip(
                time_s.tolist(),
                stamps,
                speed_texts(pump.logger_faults, time_s, speed),
                watts_texts(pump.logger_faults, time_s, power, pump.watts_in_kw),
                aux.tolist(),
                strict=True,
            )
        ]

    return write


def _means(pump: Pump, trace: Trace, horizon: Horizon, week: Week, rng: np.random.Generator) -> list[Row]:
    """Quarter-hour means under the local wall time of their end; the stamps of the hour that happens twice repeat in
    order.
    """
    edge_s = np.arange(week.start_s, week.end_s + 1, _QUARTER_S)
    mean_rpm = np.diff(trace.turns_at(edge_s.astype(float))) / _QUARTER_S
    mean_w = np.diff(trace.energy_kwh_at(edge_s)) * 1000.0 * 3600.0 / _QUARTER_S
    jitter = np.rint(0.6 * rng.standard_normal(mean_rpm.size))
    shown_rpm = np.where(mean_rpm > 0.5, np.maximum(np.rint(mean_rpm) + jitter, 1), 0).astype(int)
    shown = shown_w(pump.logger_faults, edge_s[:-1], _noisy(mean_w, _METER_NOISE_MEAN, rng) * _gain(pump))
    local = horizon.local_s(edge_s[1:]).astype("datetime64[s]").astype(datetime)
    return [
        Row(start, pump.pump_id, f"{end:%d.%m.%Y %H:%M};{n};{f'{w / 1000.0:.4f}'.replace('.', ',')}")
        for start, end, n, w in zip(edge_s[:-1].tolist(), local, shown_rpm.tolist(), shown.tolist(), strict=True)
    ]


def _events(pump: Pump, trace: Trace, horizon: Horizon, week: Week, rng: np.random.Generator) -> list[Row]:
    """A row when a new speed or relay state is reached, and a heartbeat six hours after the last row.

    The first week opens with a row at its first midnight, and each week closes with one half a minute before its end.
    """
    aux_change = trace.edge_s[1:-1][np.diff(trace.cell_aux.astype(int)) != 0]
    changes = np.unique(np.ceil(np.concatenate([trace.settled_s, aux_change])))
    changes = changes[(changes >= week.start_s) & (changes < week.end_s - _CLOSING_S)]
    opening = [float(week.start_s)] if week.start_s == horizon.start_s else []
    times: list[float] = []
    last = float(week.start_s - _CLOSING_S)
    for at in [*opening, *changes.tolist(), float(week.end_s - _CLOSING_S)]:
        while at - last > _HEARTBEAT_S:
            last += _HEARTBEAT_S
            times.append(last)
        times.append(at)
        last = at
    time_s = np.array(sorted(set(times)))
    # The jitter belongs to the state, so a heartbeat repeats the speed as it was logged, across files too.
    state = np.searchsorted(trace.settled_s, time_s, side="right")
    jitters = np.random.default_rng(int(pump.pump_id[5:8])).normal(0.0, 2.0, trace.settled_s.size + 1)
    true_rpm = trace.speed_at(time_s)
    shown_rpm = np.where(true_rpm > 0, np.rint(true_rpm + np.clip(jitters[state], -5.0, 5.0)), 0.0).astype(int)
    power = shown_w(pump.logger_faults, time_s, _noisy(trace.power_at(time_s), _METER_NOISE_MEAN, rng) * _gain(pump))
    texts = watts_texts(pump.logger_faults, time_s, power, pump.watts_in_kw)
    aux = trace.aux_at(time_s)
    pad = np.interp(time_s, trace.conditions.time_s, trace.conditions.pad_temperature_c)
    rows = []
    for at, shown, w, on, air in zip(
        time_s.tolist(), shown_rpm.tolist(), texts, aux.tolist(), pad.tolist(), strict=True
    ):
        stamp = datetime.fromtimestamp(at, UTC).astimezone(horizon.zone).isoformat(timespec="seconds")
        watts = w if pump.metered else ""
        rows.append(Row(at, pump.pump_id, f"{stamp},{pump.pump_id},{shown},{watts},{_aux_text(pump, on)},{air:.1f}"))
    return rows


def _counters(pump: Pump, trace: Trace, horizon: Horizon, week: Week, rng: np.random.Generator) -> list[Row]:
    """Each quarter hour the speed now, and the counters of energy (0.01 kWh) and running time (0.01 h)."""
    time_s = np.arange(week.start_s, week.end_s, _QUARTER_S)
    first = int(pump.pump_id[5:8])
    counted = trace.energy_kwh_at(time_s) * _gain(pump)
    begun = 731.37 + 97.11 * first
    if pump.counter_wraps_s is not None:  # the last digit of the display is reached at that instant
        begun = COUNTER_TURN_KWH - float(trace.energy_kwh_at(np.array([pump.counter_wraps_s]))[0]) * _gain(pump)
    if pump.counter_reset_s is not None:
        at_reset = float(trace.energy_kwh_at(np.array([pump.counter_reset_s]))[0]) * _gain(pump)
        counted = np.where(time_s >= pump.counter_reset_s, counted - at_reset - begun, counted)
    energy = np.floor((counted + begun) * 100.0 + 1e-6) / 100.0
    if pump.counter_wraps_s is not None:
        energy = energy % COUNTER_TURN_KWH
    hours = np.floor((trace.run_s_at(time_s) / 3600.0 + 2210.2 + 311.4 * first) * 100.0 + 1e-6) / 100.0
    speed = _logged_speed(trace, time_s, rng)
    return [
        Row(at, pump.pump_id, f"{at}\t{pump.pump_id}\t{n}\t{kwh:.2f}\t{h:.2f}")
        for at, n, kwh, h in zip(time_s.tolist(), speed.tolist(), energy.tolist(), hours.tolist(), strict=True)
    ]


SHAPES: dict[str, Shape] = {
    "samples_1min": Shape("time_utc,pump,speed_rpm,power_w,aux", _samples(60)),
    "samples_5min": Shape("time_utc,pump,speed_rpm,power_w,aux", _samples(300)),
    "means_15min": Shape("Ende;Drehzahl_rpm;Leistung_kW", _means),
    "events": Shape("at,pump,speed_rpm,power_w,aux,air_c", _events),
    "counters": Shape(
        "epoch_s\tpump\tspeed_now_rpm\tenergy_total_kwh\trun_total_h",
        _counters,
        preamble=("# counters, made-up data", "# one row a quarter hour"),
        footer=("# end",),
    ),
}
