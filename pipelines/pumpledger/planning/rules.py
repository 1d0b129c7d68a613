"""Published rules for schedules and flows, as requirements of a plan, by the place whose rules they are.

Belongs here: rules of law and codes. What a company wants of a site is no rule and stands in the problem. Nothing here
says that a site complies: local codes and licensed practice decide.

Sources, and whether their text was read (fact sheet, section 2):

- filtration flow at most the greater of pool volume / 6 h and 36 gpm, Title 24 Part 6 s150.0(p) [read in a second text].
  A maximum that limits waste, never a least flow; it does not hold while a load asks for more.
- default circulation speed at most half of full speed, Title 20 s1605.3(g)(5)(B) [from memory].
- off-peak running, from 2 h a day in winter and 4 h in summer upwards in steps of half an hour until the water stays
  clear, 20 CCR 1624 [read].
- pipe velocity: suction 6 ft/s, return 8 ft/s, Title 24 and APSP-15 [from memory]; discharge 10 ft/s, Pima County AZ
  8.32.160(B), public pools [read].
- public pools: flow not below 75 % of the required rate, 22 CCR 65525(b) [read]; continuous when open, Pima County and
  Utah R392-302-19 [read]; hours of one turnover at most, Pima County 8, Wisconsin SPS 390.14 6, Montana 8 [read]: the
  longest that the text allows any kind of pool, so that a kind with fewer states its own in required_turnovers.
- federal: nothing that a schedule must keep. 10 CFR 431.465(h) and 431.485(d) are shipping defaults of freeze controls.
"""

from __future__ import annotations

from dataclasses import dataclass

from pumpledger.planning.problem import Continuous, FlowLimit, Requirement, SpeedLimit
from pumpledger.units import convert

SCHEDULE_40_IN = {"1.5 in": 1.610, "2 in": 2.067, "2.5 in": 2.469, "3 in": 3.068}
"""True inside diameters of Schedule 40 pipe [in]: standard pipe dimensions, from memory."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What a place asks.

    ``caps_filtration`` the 36 gpm or six-hour rule; ``default_share`` of full speed, at most, outside the loads' hours;
    ``off_peak`` no running in bands marked as peak; velocities [ft/s]; ``public_flow_share`` of the required rate that
    a public pool's flow keeps; ``public_continuous`` a public pool runs all day; ``public_turnover_h`` hours that one
    turnover of a public pool may take.
    """

    name: str
    caps_filtration: bool = False
    default_share: float | None = None
    off_peak: bool = False
    suction_ft_s: float = 6.0
    return_ft_s: float | None = None
    public_flow_share: float | None = None
    public_continuous: bool = False
    public_turnover_h: float | None = None


NO_PLACE = Rules("none")
PLACES = {
    rules.name: rules
    for rules in (
        NO_PLACE,
        Rules("California", True, 0.5, True, return_ft_s=8.0, public_flow_share=0.75),
        Rules("Montana", public_turnover_h=8.0),
        Rules("Pima County", return_ft_s=10.0, public_continuous=True, public_turnover_h=8.0),
        Rules("Utah", public_continuous=True),
        Rules("Wisconsin", public_turnover_h=6.0),
    )
}


def most_filtration_gpm(pool_volume_gal: float) -> float:
    """Highest filtration flow [gpm] of a pool [gal]: the greater of its volume in six hours and 36 gpm."""
    return max(pool_volume_gal / 360, 36.0)


def velocity_ft_s(flow_gpm: float, inside_in: float) -> float:
    """Water velocity in a pipe [ft/s]: 0.4085 gpm / in2."""
    return 0.4085 * flow_gpm / inside_in**2


def most_flow_gpm(ft_s: float, inside_in: float) -> float:
    """Flow at a velocity [gpm]; the other way round than `velocity_ft_s`."""
    return ft_s * inside_in**2 / 0.4085


def daily_hours(season: str, extensions: int = 0) -> float:
    """Hours a day to begin with, 20 CCR 1624: 2 in winter, 4 in summer, half an hour more with each extension.

    Raises:
        KeyError: neither ``winter`` nor ``summer``.
    """
    return {"winter": 2.0, "summer": 4.0}[season] + 0.5 * extensions


def flow_rules(
    rules: Rules, pool_volume_m3: float, full_speed_rpm: float, pipe_size: str | None
) -> tuple[Requirement, ...]:
    """Limits of flow and speed by the rules of a place, and of pipe velocity where the pipe's size is known.

    Args:
        pool_volume_m3: the whole pool.
        pipe_size: a key of ``SCHEDULE_40_IN``, or None: not known, and no velocity is judged.
    """
    asked: list[Requirement] = []
    if rules.caps_filtration:
        most = most_filtration_gpm(convert(pool_volume_m3, "m3", "gal"))
        asked.append(FlowLimit("filtration flow rule", convert(most, "gpm", "m3h"), spares_loads=True))
    if rules.default_share is not None:
        asked.append(SpeedLimit("default speed rule", rules.default_share * full_speed_rpm, spares_loads=True))
    if pipe_size in SCHEDULE_40_IN:
        ft_s = min(rules.suction_ft_s, rules.return_ft_s or rules.suction_ft_s)
        most = most_flow_gpm(ft_s, SCHEDULE_40_IN[pipe_size])
        asked.append(FlowLimit("pipe velocity", convert(most, "gpm", "m3h")))
    return tuple(asked)


def public_rules(rules: Rules, required_m3h: float, runs_all_day: bool) -> tuple[Requirement, ...]:
    """What a public pool's running keeps: all day where its rules, its record or its present plan say so, never below the
    flow.

    Args:
        required_m3h: the required volume a day over 24 h [m3/h].
        runs_all_day: the register says so; or the plan in force runs all day, or none is on record.
    """
    if rules.public_continuous or runs_all_day:
        return (Continuous("continuous operation", (rules.public_flow_share or 0.0) * required_m3h),)
    return ()
