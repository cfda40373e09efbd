"""Whether a number drifts in the course of a session, as with fatigue or warming up.

The slope is given twice: Theil and Sen's median of all pairwise slopes, which a few stray swings
do not move, with Sen's interval; and ordinary least squares with its t interval. The first one
decides. Neither knows the cause: a sensor that creeps on the skin drifts too.

Sources: Theil H. Proc K Ned Akad Wet A 1950;53:386-392, 521-525, 1397-1412. Sen PK. Estimates of
the regression coefficient based on Kendall's tau. J Am Stat Assoc 1968;63:1379-1389.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.errors import SeriesError
from analysis.quantiles import normal_quantile, t_quantile
from analysis.samples import Array
from analysis.serial_correlation import SerialCorrelation, variance_factor
from analysis.serial_correlation import serial_correlation as found_correlation
from analysis.series import Values, checked_fraction, with_gaps

FEWEST_SWINGS = 10
"""Our choice. From here to 100 swings Sen's interval leaves out a true slope of zero in 4.0 to
5.0 % of cases (exact, from Kendall's distribution) at a nominal 5 %."""


class Drift(StrEnum):
    """What can be said of a drift in a session; one of three."""

    SHOWN = "drift"
    NOT_SHOWN = "not shown"
    TOO_FEW = "too few swings"


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope with its interval, in the value's unit per unit of `at`."""

    slope: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SessionSlope:
    """Drift of a number over a session.

    over_session: the Theil-Sen slope times the stretch from the first to the last swing used, in
    the value's unit. neighbours: lag-one correlation about the line; where it is evident the
    intervals are too narrow. Slopes are None where fewer than three swings have a number.
    """

    verdict: Drift
    n: int
    left_out: int
    confidence: float
    theil_sen: Slope | None = None
    least_squares: Slope | None = None
    over_session: float | None = None
    neighbours: SerialCorrelation | None = None


def session_slope(
    values: Values,
    at: Values | None = None,
    *,
    serial_correlation: float = 0.0,
    confidence: float = 0.95,
) -> SessionSlope:
    """Drift of `values` (n,) in the order of the swings.

    at (n,): where each swing stands, not decreasing: swing number (the default, 1 ... n) or time
    in a unit of the caller's choice. A swing without a value is left out.
    serial_correlation: lag-one correlation about the line, known from before; the variance of
    either slope grows by (1 + r) / (1 - r), as for a first-order autoregression.

    Raises SeriesError: lengths differ, `at` has a gap or decreases, all swings stand at one
    place, a value is no number.
    """
    checked_fraction(confidence, "confidence")
    every = with_gaps(values, "values")
    places = np.arange(1.0, every.size + 1.0) if at is None else with_gaps(at, "at")
    _check_places(every, places)
    there = ~np.isnan(every)
    x, y = places[there], every[there]
    left_out = every.size - y.size
    if y.size < 3:
        return SessionSlope(Drift.TOO_FEW, y.size, left_out, confidence)
    if x[0] == x[-1]:
        raise SeriesError("at: all swings stand at the same place; expected one that rises")
    factor = variance_factor(serial_correlation)
    robust = theil_sen(x, y, confidence=confidence, variance_factor=factor)
    straight = least_squares(x, y, confidence=confidence, variance_factor=factor)
    residual = every - robust.slope * places
    verdict = Drift.SHOWN if robust.low > 0.0 or robust.high < 0.0 else Drift.NOT_SHOWN
    return SessionSlope(
        Drift.TOO_FEW if y.size < FEWEST_SWINGS else verdict,
        y.size,
        left_out,
        confidence,
        robust,
        straight,
        robust.slope * float(x[-1] - x[0]),
        found_correlation([residual]),
    )


def theil_sen(
    x: Array, y: Array, *, confidence: float = 0.95, variance_factor: float = 1.0
) -> Slope:
    """Median of the slopes of all pairs with unlike x, and Sen's interval, for (n,) each.

    The interval is cut from the sorted slopes N at the ranks (N -+ z sd) / 2, sd^2 the variance
    of Kendall's S with the corrections for ties in x and in y (Sen 1968, eq. 2.6). Where the
    ranks fall outside, the bound is infinite: so few swings cannot reach that confidence.
    """
    first, second = np.triu_indices(x.size, k=1)
    run = x[second] - x[first]
    apart = run != 0.0
    slopes = np.sort((y[second] - y[first])[apart] / run[apart])
    sd = math.sqrt(variance_factor * _variance_of_s(x, y))
    reach = normal_quantile(0.5 + confidence / 2.0) * sd
    low = round((slopes.size - reach) / 2.0) - 1
    high = round((slopes.size + reach) / 2.0)
    return Slope(
        float(np.median(slopes)),
        float(slopes[low]) if low >= 0 else -math.inf,
        float(slopes[high]) if high < slopes.size else math.inf,
    )


def least_squares(
    x: Array, y: Array, *, confidence: float = 0.95, variance_factor: float = 1.0
) -> Slope:
    """Straight line through (n,) points, n >= 3: slope and its t interval with n - 2 dof."""
    run, rise = x - x.mean(), y - y.mean()
    squares = float(run @ run)
    slope = float(run @ rise) / squares
    left = rise - slope * run
    dof = x.size - 2
    variance = variance_factor * float(left @ left) / dof / squares
    reach = t_quantile(0.5 + confidence / 2.0, dof) * math.sqrt(variance)
    return Slope(slope, slope - reach, slope + reach)


def _variance_of_s(x: Array, y: Array) -> float:
    """Variance of Kendall's S, n(n-1)(2n+5)/18 less the same of every group of ties."""

    def spread(sizes: Array) -> float:
        return float((sizes * (sizes - 1.0) * (2.0 * sizes + 5.0)).sum())

    ties = [np.unique(values, return_counts=True)[1].astype(np.float64) for values in (x, y)]
    whole = spread(np.array([float(x.size)]))
    return max(whole - spread(ties[0]) - spread(ties[1]), 0.0) / 18.0


def _check_places(values: Array, places: Array) -> None:
    """Raise SeriesError unless every swing has a place and the places do not fall."""
    if places.size != values.size:
        raise SeriesError(
            f"at: expected one place a swing, received {places.size} for {values.size} swings"
        )
    if np.isnan(places).any():
        raise SeriesError("at: every swing needs its place, also those without a value")
    if (np.diff(places) < 0.0).any():
        swing = int(np.flatnonzero(np.diff(places) < 0.0)[0]) + 2
        raise SeriesError(f"at: expected places that do not fall, but that of swing {swing} does")
