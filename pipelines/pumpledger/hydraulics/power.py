"""Wire power against speed, fitted per pump to what was metered: P = P0 + c * (n / 1000) ** b.

Belongs here: the fit, its covariance, its band and its limits. Which points are fitted is chosen in `power_source.py`.
The exponent is always fitted: motor and drive losses and static head pull wire power off the cube law of shaft power,
so a fixed 3 would understate slow speeds and overstate what they save.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pumpledger.hydraulics.uncertainty import POWER_SCATTER, POWER_SCATTER_LEAST

EXPONENT_LEAST, EXPONENT_MOST = 1.0, 4.0
REACH_RPM = 25.0  # one step of the speed grid: how far outside the fitted speeds a value is still given
DISTINCT_RPM = 100.0  # speeds closer than this count as one when the form is chosen: a fit would follow their noise
ENOUGH_SAMPLES = 20  # a median of this many samples carries full weight
OUTLIER_SHARE = 0.03  # residuals beyond this share weigh less and less (soft L1)
HALF_WIDTH_MOST = 0.5  # a wider band says that the points lie on no one curve
FAR_OFF, FAR_OFF_MOST = 0.30, 1 / 3  # and so do more than a third of the points further off than this share


@dataclass(frozen=True, slots=True)
class PowerFit:
    """Wire power of one pump within the speeds it was fitted to.

    ``base_w`` [W], ``factor_w`` [W at 1000 rpm above the base], ``exponent``; ``lowest_rpm`` and ``highest_rpm``
    [rev/min] the speeds behind it; ``half_width`` share of the value at a speed that was read, by scatter and meter;
    ``basis`` says in words what it rests on. ``covariance`` is that of (base, factor, exponent), shape (3, 3): it
    widens the band most at the ends of the points. Zero where the points are too few to show it.
    """

    base_w: float
    factor_w: float
    exponent: float
    lowest_rpm: float
    highest_rpm: float
    half_width: float
    basis: str
    covariance: np.ndarray = field(default_factory=lambda: np.zeros((3, 3)), compare=False)
    quantile: float = 2.0

    @property
    def exponent_band(self) -> tuple[float, float] | None:
        """About a 90 % interval of the exponent, within its limits; ``None`` where too few points show it."""
        deviation = float(np.sqrt(self.covariance[2, 2])) * self.quantile
        if deviation == 0:
            return None
        return max(self.exponent - deviation, EXPONENT_LEAST), min(self.exponent + deviation, EXPONENT_MOST)

    def fit_share(self, speeds_rpm: np.ndarray) -> np.ndarray:
        """Half-width of the fitted curve itself at each speed, share of the value: the covariance, to first order."""
        ratio = np.maximum(np.asarray(speeds_rpm, float), 1.0) / 1000
        bend = ratio**self.exponent
        slopes = np.stack([np.ones_like(ratio), bend, self.factor_w * np.log(ratio) * bend], axis=-1)
        variance = np.einsum("...i,ij,...j->...", slopes, self.covariance, slopes)
        return self.quantile * np.sqrt(np.maximum(variance, 0.0)) / (self.base_w + self.factor_w * bend)

    def power_w(self, speeds_rpm: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Low, mid and high wire power [W] at speeds of shape (n,); NaN more than ``REACH_RPM`` outside the fitted
        speeds."""
        speeds = np.asarray(speeds_rpm, float)
        inside = (speeds >= self.lowest_rpm - REACH_RPM) & (speeds <= self.highest_rpm + REACH_RPM) & (speeds > 0)
        mid = np.where(inside, self.base_w + self.factor_w * (speeds / 1000) ** self.exponent, np.nan)
        half = np.minimum(np.hypot(self.half_width, self.fit_share(speeds)), HALF_WIDTH_MOST)
        return mid * (1 - half), mid, mid * (1 + half)


def effective_exponent(speed_1_rpm: float, power_1_w: float, speed_2_rpm: float, power_2_w: float) -> float:
    """Exponent of wire power between two points: ln(P1 / P2) / ln(n1 / n2)."""
    return float(np.log(power_1_w / power_2_w) / np.log(speed_1_rpm / speed_2_rpm))


def fit_power(
    speeds_rpm: np.ndarray, powers_w: np.ndarray, samples: np.ndarray, meter_half_width: float
) -> PowerFit | None:
    """The curve through metered points, or ``None`` where they do not carry one.

    Three distinct speeds or more give base, factor and exponent by least squares on relative residuals with a soft L1
    loss, so that one odd speed does not bend the curve; with three points more than parameters, the covariance too. Two
    give a pure power law. One gives nothing. The exponent stays within 1 to 4, and a two-point law outside that is
    refused.

    Args:
        speeds_rpm: shape (n,), speeds [rev/min].
        powers_w: shape (n,), wire power at each [W], medians.
        samples: shape (n,), samples behind each median.
        meter_half_width: accuracy of the meter, share; it shifts all points alike, so the fit cannot see it.
    """
    speeds, powers, samples = (np.asarray(values, float) for values in (speeds_rpm, powers_w, samples))
    usable = np.isfinite(speeds) & np.isfinite(powers) & (speeds > 0) & (powers > 0)
    order = np.argsort(speeds[usable], kind="stable")
    speeds, powers, samples = (values[usable][order] for values in (speeds, powers, samples))
    distinct = _distinct(speeds)
    if distinct < 2:
        return None
    weights = np.sqrt(np.clip(samples, 1, ENOUGH_SAMPLES) / ENOUGH_SAMPLES)
    slope = _log_slope(speeds, powers, weights)
    if distinct == 2:
        if not EXPONENT_LEAST <= slope <= EXPONENT_MOST:
            return None
        scale = np.log(powers) - slope * np.log(speeds / 1000)
        base, factor, exponent, parameters = 0.0, float(np.exp(np.average(scale, weights=weights**2))), slope, 2
    else:
        base, factor, exponent = _robust_fit(speeds, powers, weights, slope)
        parameters = 3

    residuals = (base + factor * (speeds / 1000) ** exponent) / powers - 1
    freedom = speeds.size - parameters
    loss_weights = weights**2 / np.sqrt(1 + np.square(residuals / OUTLIER_SHARE))
    spread = float(np.sqrt(np.sum(loss_weights * residuals**2) / np.sum(loss_weights) * speeds.size / max(freedom, 1)))
    if freedom < 3:
        scatter = max(POWER_SCATTER, 2 * spread)
        basis = f"{speeds.size} points, too few to show their scatter: {scatter:.0%} assumed"
    else:
        scatter = max(2 * POWER_SCATTER_LEAST, 2 * spread)
        basis = f"{speeds.size} points, twice their scatter: {scatter:.1%}"
    half_width = float(np.hypot(scatter, meter_half_width))
    if half_width > HALF_WIDTH_MOST or np.mean(np.abs(residuals) > FAR_OFF) > FAR_OFF_MOST:
        return None
    return PowerFit(
        base,
        factor,
        exponent,
        float(speeds[0]),
        float(speeds[-1]),
        half_width,
        f"{basis}, and the meter's {meter_half_width:.0%}",
        *(_covariance(speeds, powers, loss_weights, spread, (base, factor, exponent), freedom) if freedom >= 3 else ()),
    )


def _covariance(
    speeds: np.ndarray,
    powers: np.ndarray,
    loss_weights: np.ndarray,
    spread: float,
    found: tuple[float, float, float],
    freedom: int,
) -> tuple[np.ndarray, float]:
    """Covariance of base, factor and exponent, and the quantile of a 90 % interval by Student's t.

    spread2 * inverse(J' W J) on relative residuals with the weights of the loss, as `scipy.optimize.curve_fit` with
    ``sigma`` for an undamped loss. A parameter at its limit is held there: it does not vary.
    """
    from scipy.special import stdtrit  # late, as below

    base, factor, exponent = found
    ratio = speeds / 1000
    bend = ratio**exponent
    slopes = np.stack([np.ones_like(ratio), bend, factor * np.log(ratio) * bend], axis=1) / powers[:, None]
    free = [base > 1e-6 * powers.min(), True, EXPONENT_LEAST + 1e-6 < exponent < EXPONENT_MOST - 1e-6]
    kept = slopes[:, free]
    # Mean weight 1: `spread` already is the deviation of a point of mean weight.
    weights = loss_weights / loss_weights.mean()
    # Scaled first: watts and exponents differ by orders of magnitude.
    scale = np.sqrt(np.sum(weights[:, None] * kept**2, axis=0))
    inverse = np.linalg.pinv((kept / scale).T @ (weights[:, None] * (kept / scale)), rcond=1e-10)
    covariance = np.zeros((3, 3))
    covariance[np.ix_(free, free)] = max(spread, POWER_SCATTER_LEAST) ** 2 * inverse / np.outer(scale, scale)
    return covariance, float(stdtrit(freedom, 0.95))


def _distinct(speeds: np.ndarray) -> int:
    """How many speeds at least ``DISTINCT_RPM`` apart rising ``speeds`` hold."""
    count, last = 0, -np.inf
    for speed in speeds:
        if speed - last >= DISTINCT_RPM:
            count, last = count + 1, speed
    return count


def _log_slope(speeds: np.ndarray, powers: np.ndarray, weights: np.ndarray) -> float:
    """Weighted slope of log power over log speed."""
    return float(np.polyfit(np.log(speeds), np.log(powers), 1, w=weights)[0])


def _robust_fit(
    speeds: np.ndarray, powers: np.ndarray, weights: np.ndarray, slope: float
) -> tuple[float, float, float]:
    from scipy.optimize import least_squares  # late: it takes 0.3 s

    ratio = speeds / 1000
    logs = np.log(ratio)
    share = weights / powers

    def residuals(at: np.ndarray) -> np.ndarray:
        return (at[0] + at[1] * ratio ** at[2]) * share - weights

    def jacobian(at: np.ndarray) -> np.ndarray:
        bend = ratio ** at[2] * share
        return np.stack([share, bend, at[1] * logs * bend], axis=1)

    # The log slope sits below the exponent wherever there is a base, so start a little above it.
    exponent = float(np.clip(slope + 0.3, EXPONENT_LEAST + 0.1, EXPONENT_MOST - 0.1))
    base = 0.3 * powers.min()
    factor = float(np.median((powers - base) / ratio**exponent))
    found = least_squares(
        residuals,
        (base, factor, exponent),
        jac=jacobian,
        bounds=((0, 0, EXPONENT_LEAST), (np.inf, np.inf, EXPONENT_MOST)),
        loss="soft_l1",
        f_scale=OUTLIER_SHARE,
        x_scale=(max(base, 1.0), max(factor, 1.0), 1.0),
    )
    return float(found.x[0]), float(found.x[1]), float(found.x[2])
