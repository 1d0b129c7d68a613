"""B12 and B13 against series that others have labelled: real 15-minute inverter power with stale and with interpolated
stretches.

Source: pvanalytics 0.2.2, data/ac_power_inv_2173_stale_data.csv and ..._interpolated_data.csv, with the labels of its
authors; only the files are read. They are no pool pumps: the normalised power is taken times 5000 W, and as the series
has no speed, one that changes at each reading is put beside it, so that B12 is tried for its equal readings alone. The
agreement is printed: ``pytest -s``.
"""

from __future__ import annotations

from datetime import timedelta
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from verdict_fleet import START, Fleet, Log

SPEC = find_spec("pvanalytics")
pytestmark = pytest.mark.skipif(SPEC is None, reason="pvanalytics is not installed")


def series(kind: str) -> tuple[Log, np.ndarray]:
    """The log and its labels; the readings follow each other as in the file, a quarter of an hour apart."""
    path = Path(str(SPEC.origin)).parent / "data" / f"ac_power_inv_2173_{kind}_data.csv"
    frame = pl.read_csv(path, schema_overrides={"value_normalized": pl.Float64})
    power = frame["value_normalized"].to_numpy() * 5000
    moments = [START + timedelta(minutes=15 * n) for n in range(len(power))]
    speed = np.where(np.arange(len(power)) % 2 == 0, 1000.0, 2000.0)
    return Log(moments, speed, power, hold_s=900, gap_limit_s=3600), frame[f"{kind}_data_mask"].to_numpy()


def found(log: Log, mode: str) -> np.ndarray:
    fleet = Fleet().add(log, plan=False)
    assert len(fleet.weigh(mode)) == 1
    bad = set(fleet.bad.filter(pl.col("quantity") == "power")["time_utc"])
    return np.array([moment in bad for moment in log.time_utc])


def agreement(name: str, ours: np.ndarray, theirs: np.ndarray) -> tuple[float, float]:
    precision, recall = (ours & theirs).sum() / ours.sum(), (ours & theirs).sum() / theirs.sum()
    print(f"{name}: {ours.sum()} found, {theirs.sum()} labelled, precision {precision:.3f}, recall {recall:.3f}")
    return precision, recall


def test_stale_readings_as_labelled() -> None:
    """All but the first reading of each of the three stretches, which was true when it was logged."""
    log, labels = series("stale")
    precision, recall = agreement("stale", found(log, "B12"), labels)
    assert labels.sum() == 245 and precision == 1.0
    assert recall == pytest.approx((245 - 3) / 245)


def test_interpolated_readings_as_labelled() -> None:
    """Their labels also hold level stretches, such as nights at 0 W, where no first difference differs from 0."""
    log, labels = series("interpolated")
    step = np.diff(log.power_w)
    moving = np.concatenate([[False], step != 0]) | np.concatenate([step != 0, [False]])
    ours = found(log, "B13")
    precision, recall = agreement("interpolated, where power changes", ours[moving], labels[moving])
    assert not ours[~moving].any()
    assert precision >= 0.99 and recall >= 0.97
