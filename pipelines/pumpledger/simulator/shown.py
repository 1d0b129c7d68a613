"""What a faulty logger makes of speed and power: the values that it writes in place of the true ones.

Belongs here: clamps, stuck channels, filled holes, offsets, units. What was seeded where stands in `faults_logger.py`;
how rows look in `exports.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pumpledger.simulator.physics import FULL_SPEED_RPM


@dataclass(frozen=True, slots=True)
class LoggerFault:
    """From one instant to another [s, UTC].

    ``ratio`` multiplies the power (-1: clamp the wrong way round), ``offset`` adds watts, ``frozen`` repeats the first
    power, ``line`` draws straight lines from the first to the last value, ``kw`` writes kW in the column of watts and
    ``percent`` per cent of the full speed in the column of rev/min.
    """

    kind: Literal["ratio", "offset", "frozen", "line", "kw", "percent"]
    start_s: int
    stop_s: int
    amount: float = 0.0

    def inside(self, time_s: np.ndarray) -> np.ndarray:
        """Places of ``time_s`` that it touches."""
        return np.flatnonzero((time_s >= self.start_s) & (time_s < self.stop_s))


def shown_w(faults: list[LoggerFault], time_s: np.ndarray, power_w: np.ndarray) -> np.ndarray:
    """Power as the logger has it [W], shape of ``power_w``."""
    shown = np.array(power_w, dtype=float)
    for fault in faults:
        at = fault.inside(time_s)
        if not at.size:
            continue
        if fault.kind == "ratio":
            shown[at] *= fault.amount
        elif fault.kind == "offset":
            shown[at] += fault.amount
        elif fault.kind == "frozen":
            shown[at] = shown[at[0]]
        elif fault.kind == "line":
            shown[at] = np.linspace(shown[at[0]], shown[at[-1]], at.size)
    return shown


def watts_texts(faults: list[LoggerFault], time_s: np.ndarray, shown: np.ndarray, in_kw: bool) -> list[str]:
    """The cells of ``shown`` [W]: one decimal, or kW with four; a drawn line has as many digits as it takes."""
    texts = [f"{w / 1000.0:.4f}" for w in shown.tolist()] if in_kw else [f"{w:.1f}" for w in shown.tolist()]
    for fault in faults:
        if fault.kind in ("kw", "line"):
            for i in fault.inside(time_s).tolist():
                texts[i] = f"{shown[i] / 1000.0:.4f}" if fault.kind == "kw" else f"{shown[i]:.6f}"
    return texts


def speed_texts(faults: list[LoggerFault], time_s: np.ndarray, speed_rpm: np.ndarray) -> list[str]:
    """The cells of ``speed_rpm`` [rev/min]: whole numbers, or per cent with one decimal."""
    shown = speed_rpm.copy()
    for fault in faults:
        if fault.kind == "line":
            at = fault.inside(time_s)
            if at.size:
                shown[at] = np.rint(np.linspace(shown[at[0]], shown[at[-1]], at.size))
    texts = [str(n) for n in shown.tolist()]
    for fault in faults:
        if fault.kind == "percent":
            for i in fault.inside(time_s).tolist():
                texts[i] = f"{speed_rpm[i] / FULL_SPEED_RPM * 100.0:.1f}"
    return texts
