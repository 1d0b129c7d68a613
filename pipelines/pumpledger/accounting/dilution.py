"""How much of a pool's water has been through the filter after a number of turnovers.

Belongs here: the dilution law and the turnover time. Source: Gage and Bidwell; 63 % a turnover in Simmonds et al.,
Water 2021, 13(17), 2350.
"""

from __future__ import annotations

import math


def filtered_share(turnovers: float, single_pass_efficiency: float = 1.0) -> float:
    """Share of the original water filtered after ``turnovers`` pool volumes, in a pool that mixes: 1 - exp(-e n).

    Args:
        turnovers: filtered volume over pool volume, not below 0.
        single_pass_efficiency: share of what passes that the filter takes out, 0 to 1 [the form with e is from memory].

    Raises:
        ValueError: an argument outside its range.
    """
    if not turnovers >= 0 or not 0 <= single_pass_efficiency <= 1:
        raise ValueError(f"turnovers {turnovers}, efficiency {single_pass_efficiency}")
    return -math.expm1(-single_pass_efficiency * turnovers)


def turnovers_for_share(share: float) -> float:
    """Turnovers until ``share`` of the original water has been filtered: -ln(1 - share).

    Raises:
        ValueError: a share outside 0 to below 1.
    """
    if not 0 <= share < 1:
        raise ValueError(f"share {share}")
    return -math.log1p(-share)


def turnover_time_h(volume_m3: float, flow_m3h: float) -> float:
    """Hours in which a flow moves a pool volume once [h].

    Raises:
        ValueError: no flow.
    """
    if not flow_m3h > 0:
        raise ValueError(f"flow {flow_m3h} m3/h")
    return volume_m3 / flow_m3h
