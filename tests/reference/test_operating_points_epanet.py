"""Operating points against EPANET, run through `wntr`: a solver we did not write.

Sources: EPANET 2.2 by way of the wntr package; facts 4a-4g (Qd = 60 gpm, Hd = 40 ft, trade system curve C, coefficient
from memory). The pipe is a minor loss, which in EPANET is K v2 / 2g: a pure square law.
"""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import wntr

from pumpledger.hydraulics.operating_point import flows, operating_point
from pumpledger.hydraulics.pump import PumpCurve, points
from pumpledger.hydraulics.system import SystemCurve

GPM_M3H, FT_M = 0.2271247, 0.3048
GRAVITY = 9.80665
FULL_RPM = 3450.0


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch) -> None:
    """EPANET writes its files beside the process."""
    monkeypatch.chdir(tmp_path)


Pair = tuple[list[tuple[float, float]], float, float, list[float]]
"""Points of flow [m3/h] and head [m], static head [m], friction [m/(m3/h)2], speed ratios."""


def epanet(
    curve: list[tuple[float, float]], static_m: float, friction: float, ratios: list[float]
) -> list[tuple[float, float]]:
    """Flow [m3/h] and pump head [m] by EPANET for one pump at several speed ratios.

    ``curve``: flow [m3/h] and head [m] points. One point gets EPANET's own one-point curve, more than three its
    piecewise straight one.
    """
    return epanet_many([(curve, static_m, friction, ratios)])[0]


def epanet_many(pairs: list[Pair]) -> list[list[tuple[float, float]]]:
    """The same for many pumps and systems in one network that nothing joins."""
    network = wntr.network.WaterNetworkModel()
    network.options.hydraulic.accuracy = 1e-7
    network.options.hydraulic.trials = 200
    network.options.time.duration = 0
    network.options.hydraulic.viscosity = 1e-6
    diameter = 0.05
    area = pi / 4 * diameter**2
    for pair, (curve, static_m, friction, ratios) in enumerate(pairs):
        network.add_curve(f"curve{pair}", "HEAD", [(flow / 3600, head) for flow, head in curve])
        # friction [m/(m3/h)2] -> K of the valve: h = K v2 / 2g. EPANET takes g = 32.2 ft/s2; the difference of 0.08 % is
        # within the tolerance.
        loss = friction * 3600**2 * 2 * GRAVITY * area**2
        for place, ratio in enumerate(ratios):
            index = f"{pair}_{place}"
            network.add_reservoir(f"pool{index}", base_head=0.0)
            network.add_reservoir(f"roof{index}", base_head=static_m)
            network.add_junction(f"pad{index}", elevation=0.0)
            network.add_pump(
                f"pump{index}", f"pool{index}", f"pad{index}", pump_type="HEAD", pump_parameter=f"curve{pair}"
            )
            network.get_link(f"pump{index}").base_speed = ratio
            # A short, wide pipe: its own friction is far below the tolerance.
            network.add_pipe(
                f"pipe{index}",
                f"pad{index}",
                f"roof{index}",
                length=0.01,
                diameter=diameter,
                roughness=150,
                minor_loss=loss,
            )
    result = wntr.sim.EpanetSimulator(network).run_sim()
    flow, head = result.link["flowrate"].iloc[0], result.node["head"].iloc[0]
    return [
        [(float(flow[f"pump{pair}_{place}"]) * 3600, float(head[f"pad{pair}_{place}"])) for place in range(len(ratios))]
        for pair, (_, _, _, ratios) in enumerate(pairs)
    ]


FRICTION_C = 0.0082 * FT_M / GPM_M3H**2


@pytest.mark.parametrize("static_ft", [0.0, 10.0], ids=["no static head", "10 ft of static head"])
def test_the_worked_case(static_ft: float) -> None:
    """Facts 4b-4d and 4f: EPANET, our solver and the printed values agree within 0.2 %."""
    ratios = [1.0, 0.8, 0.6, 0.5] + ([0.4] if static_ft == 0 else [])
    printed_gpm = [66.9358, 53.5486, 40.1615, 33.4679, 26.7743] if static_ft == 0 else [60.335, 45.026, 27.801, 16.734]
    pump = PumpCurve.one_point(60 * GPM_M3H, 40 * FT_M, FULL_RPM)
    system = SystemCurve(static_ft * FT_M, FRICTION_C)
    found = epanet([(60 * GPM_M3H, 40 * FT_M)], static_ft * FT_M, FRICTION_C, ratios)
    for ratio, (flow, head), printed in zip(ratios, found, printed_gpm, strict=True):
        ours = operating_point(pump, system, FULL_RPM * ratio)
        assert ours.flow_m3h == pytest.approx(flow, rel=2e-3)
        assert ours.head_m == pytest.approx(head, rel=2e-3)
        assert flow / GPM_M3H == pytest.approx(printed, rel=2e-3)


def test_curve_coefficients() -> None:
    """Facts 4a: wntr's own coefficients of the one-point curve draw the curve we draw."""
    network = wntr.network.WaterNetworkModel()
    network.add_curve("pump", "HEAD", [(60 * GPM_M3H / 3600, 40 * FT_M)])
    network.add_reservoir("pool")
    network.add_junction("pad")
    network.add_pump("pump", "pool", "pad", pump_type="HEAD", pump_parameter="pump")
    a, b, c = network.get_link("pump").get_head_curve_coefficients()
    assert a / FT_M == pytest.approx(53.3333, abs=1e-3) and c == pytest.approx(2)
    pump = PumpCurve.one_point(60 * GPM_M3H, 40 * FT_M, FULL_RPM)
    for flow in np.linspace(0, 110, 12) * GPM_M3H:
        assert pump.head_at(flow, FULL_RPM) == pytest.approx(a - b * (flow / 3600) ** c, abs=1e-3)


def test_below_the_zero_flow_speed_epanet_moves_no_water_either() -> None:
    """Facts 4g: 10 ft of static head, ratio 0.43301."""
    pump = PumpCurve.one_point(60 * GPM_M3H, 40 * FT_M, FULL_RPM)
    system = SystemCurve(10 * FT_M, FRICTION_C)
    (below, _), (above, _) = epanet([(60 * GPM_M3H, 40 * FT_M)], 10 * FT_M, FRICTION_C, [0.425, 0.45])
    assert operating_point(pump, system, FULL_RPM * 0.425) is None and below == pytest.approx(0, abs=1e-3)
    assert operating_point(pump, system, FULL_RPM * 0.45).flow_m3h == pytest.approx(above, rel=2e-3)


@pytest.mark.parametrize("with_static", [False, True], ids=["no static head", "static head"])
def test_two_hundred_and_twenty_random_pairs(with_static: bool) -> None:
    """Seeded pumps and systems of pool size, 110 with and 110 without static head, each at its own three speeds: 0.2 %.

    Eleven networks of ten pairs each, so that EPANET is started seldom. Nothing joins the pairs of one network."""
    generator = np.random.default_rng(20261026 + with_static)
    for _ in range(11):
        pairs = []
        for _ in range(10):
            flow, head = generator.uniform(6, 30), generator.uniform(6, 22)
            static = float(generator.uniform(0.3, 0.3 * head)) if with_static else 0.0
            friction = float((head - static) / (flow * generator.uniform(0.6, 1.2)) ** 2)
            pairs.append(([(flow, head)], static, friction, [1.0, *generator.uniform(0.6, 0.95, 2)]))
        for ([(flow, head)], static, friction, ratios), found in zip(pairs, epanet_many(pairs), strict=True):
            pump = PumpCurve.one_point(flow, head, FULL_RPM)
            ours = flows(pump, SystemCurve(static, friction), FULL_RPM * np.array(ratios))
            assert ours == pytest.approx([flow for flow, _ in found], rel=2e-3)


def test_a_curve_of_many_points() -> None:
    """EPANET joins many points by straight lines in flow, we in flow squared: with 25 points both are the same curve
    within 0.2 %."""
    steps = np.linspace(0, 26, 25)
    heads = 17.5 - 0.05 * steps - 0.018 * steps**2
    pump = points(steps.tolist(), heads.tolist(), FULL_RPM)
    ours = flows(pump, SystemCurve(1.0, 0.03), FULL_RPM * np.array([1.0, 0.75, 0.5]))
    theirs = [
        flow for flow, _ in epanet(list(zip(steps.tolist(), heads.tolist(), strict=True)), 1.0, 0.03, [1.0, 0.75, 0.5])
    ]
    assert ours == pytest.approx(theirs, rel=2e-3)
