"""How far an estimate may be off: every half-width, with its reason. The one place for these numbers.

Belongs here: named constants. All are assumptions of this project unless a source stands beside them. They are
half-widths of a band that is meant to hold nine times in ten, as a share of the value unless the name says a unit.
`simulator/errors.py` draws errors as large as these, and `pumpledger score` counts how often the bands hold the truth.
"""

from __future__ import annotations

import math
from typing import NamedTuple


class Sides(NamedTuple):
    """How far the truth may lie below and above a value read, as shares of it."""

    below: float
    above: float


# A portable flow meter on short pool pipework. Common practice, no source.
FLOW_METER = 0.04

# Flow that a filter takes by the time it is due. Common practice, no source.
FILTER_DUE = 0.03

# Flow read at commissioning, on a clean filter. Later the filter is anywhere between clean and due: half of what it
# takes on the mean, and evenly spread about that (nine tenths of the spread hold nine in ten). It only ever takes.
_METER_AND_FILTER = math.hypot(FLOW_METER, 0.9 * FILTER_DUE / 2)
COMMISSIONED_FLOW = Sides(_METER_AND_FILTER + FILTER_DUE / 2, _METER_AND_FILTER - FILTER_DUE / 2)

# Flow from a catalogue curve and a design point: pipes as built, valves and filter are not as drawn. Common practice,
# no source.
CURVE_FLOW = Sides(0.15, 0.15)

# Head of the pump against its published curve: ISO 9906 grade 2 allows 5 % [from memory, medium confidence].
CURVE_HEAD = 0.05

# Height as written in the register: a tape on a roof edge, or a check valve that needs some pressure to open.
STATIC_HEAD = 0.10
STATIC_HEAD_LEAST_M = 0.2

# A power fit through as many points as it has parameters shows no scatter of its own: filter load, water temperature
# and voltage move wire power at one speed by about this much. Common practice, no source.
POWER_SCATTER = 0.05

# Scatter of a fit is never believed to be smaller than this: medians hide what one day does.
POWER_SCATTER_LEAST = 0.01

# Wire power read once at a visit with a clamp meter or the drive's own display.
VISIT_POWER = 0.03

# Metered flow: an in-line meter on pool pipework, seldom with the straight lengths it asks for.
METERED_FLOW = 0.05

# Single-speed baseline power by where it comes from. 'measured': a clamp meter. 'nameplate': full load is seldom drawn.
# 'owner record': bills and memory. 'stipulated': agreed with a programme, not observed.
BASELINE_POWER = {"measured": 0.03, "nameplate": 0.10, "owner record": 0.15, "stipulated": 0.10}

# Flow of the former single-speed pump where the register gives one: as a flow read at commissioning.
BASELINE_FLOW = 0.06

# Flow read at a later visit: as at commissioning, and the filter may be anywhere between clean and due. Common
# practice, no source.
VISIT_FLOW = Sides(0.10, 0.10)

# Total head by two gauges [m]: a class 2.5 gauge of 0-400 kPa may be off by 10 kPa (EN 837-1 [from memory, medium
# confidence]), and gauge height and velocity head are left out.
GAUGE_HEAD_M = 1.0

# Friction of a default system by pipe size: within this factor either way. Pools of one pipe size differ in length,
# fittings, filter and heater. Common practice, no source.
PIPE_FRICTION_FACTOR = 2.5

# Flow between two commissioned speeds where no pump curve is known: half-width added midway, share.
BETWEEN_SPEEDS = 0.05

# Wire power printed for the model, not for the pipes it stands on. Common practice, no source.
NAMEPLATE_POWER = 0.15

# Wire-to-water efficiency that the register states: efficiency falls at light load, which takes more power, so the band
# reaches further up. Shape checked against `fluids` for speeds of 75 % and more.
STATED_EFFICIENCY_BELOW, STATED_EFFICIENCY_ABOVE = 0.25, 0.45
