"""Whether a swing resembles the one before it more than any other swing of the block.

Source: Marriott FHC, Pope JA. Bias in the estimation of autocorrelations. Biometrika
1954;41:390-402 (the correction; from memory); the limit 1.645/sqrt(N) is the large-sample 5 %
bound of a lag-one correlation when there is none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.errors import SeriesError
from analysis.samples import Array
from analysis.series import Values, with_gaps

FEWEST_PAIRS = 8
"""With fewer pairs of neighbours nothing is said: the bound is then over 0.58."""


@dataclass(frozen=True, slots=True)
class SerialCorrelation:
    """Lag-one correlation pooled over blocks, from `pairs` of neighbouring swings."""

    value: float
    pairs: int

    @property
    def evident(self) -> bool:
        """Whether it is positive beyond what independent swings give once in twenty."""
        return self.value > 1.645 / math.sqrt(self.pairs)


def serial_correlation(blocks: Sequence[Values]) -> SerialCorrelation | None:
    """Lag-one correlation of swings inside `blocks`, each in the order the swings were hit.

    Deviations from each block's own mean; sum of products of neighbours over the sum of squares,
    scaled to the number of pairs, plus (1 + 3 r) / n for the bias that taking off the mean of n
    swings brings, at most 0.99. A missing value breaks the chain. None with fewer than
    FEWEST_PAIRS neighbours or without spread.
    """
    products, squares, pairs, swings, used = 0.0, 0.0, 0, 0, 0
    for number, values in enumerate(blocks, start=1):
        numbers = with_gaps(values, f"block {number}")
        if np.count_nonzero(~np.isnan(numbers)) < 2:
            continue
        chain: Array = numbers - np.nanmean(numbers)
        neighbours = chain[1:] * chain[:-1]
        products += float(np.nansum(neighbours))
        squares += float(np.nansum(chain**2))
        pairs += int(np.count_nonzero(~np.isnan(neighbours)))
        swings += int(np.count_nonzero(~np.isnan(chain)))
        used += 1
    if pairs < FEWEST_PAIRS or squares == 0.0:
        return None
    raw = (products / pairs) / (squares / swings)
    return SerialCorrelation(min(raw + (1.0 + 3.0 * raw) * used / swings, 0.99), pairs)


def variance_factor(correlation: float) -> float:
    """Factor on the variance of a mean or slope over that of independent swings.

    (1 + r) / (1 - r), the limit for long series of a first-order autoregression; a negative
    correlation counts as 0, so that it never narrows an interval.

    Raises SeriesError: a correlation outside (-1, 1).
    """
    if not -1.0 < correlation < 1.0:
        raise SeriesError(
            f"serial_correlation: expected a number between -1 and 1, received {correlation}"
        )
    allowed = max(correlation, 0.0)
    return (1.0 + allowed) / (1.0 - allowed)
