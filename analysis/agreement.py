"""How far two measurements of the same swings lie apart: bias and limits of agreement.

Source: Bland JM, Altman DG. Statistical methods for assessing agreement between two methods of
clinical measurement. Lancet 1986;1:307-310; intervals of the limits by SD sqrt(1/n + z^2/(2(n-1)))
from the same authors, Stat Methods Med Res 1999;8:135-160.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.errors import SeriesError
from analysis.quantiles import normal_quantile, t_quantile
from analysis.series import Values, checked_spread, complete_rows, with_gaps


@dataclass(frozen=True, slots=True)
class Limits:
    """Agreement of second minus first, in the values' unit.

    bias with its interval, sd of the differences; low, high: limits that hold the stated share of
    differences; limit_u: one standard uncertainty of either limit. left_out: pairs with a gap.
    """

    n: int
    left_out: int
    bias: float
    bias_low: float
    bias_high: float
    sd: float
    low: float
    high: float
    limit_u: float


def limits_of_agreement(first: Values, second: Values, *, share: float = 0.95) -> Limits:
    """Bias and limits of agreement of paired (n,) values; a pair with a gap is left out.

    `share` is both the share of differences inside the limits and the confidence of the bias.
    Raises SeriesError: unequal lengths, fewer than 2 pairs, values that are no numbers.
    """
    one, two = with_gaps(first, "first"), with_gaps(second, "second")
    if one.size != two.size:
        raise SeriesError(f"pairs: expected equal lengths, received {one.size} and {two.size}")
    pairs, left_out = complete_rows(list(zip(one.tolist(), two.tolist(), strict=True)), "pairs")
    n = pairs.shape[0]
    if n < 2:
        raise SeriesError(f"pairs: expected at least 2 complete ones, received {n}")
    differences = pairs[:, 1] - pairs[:, 0]
    bias, sd = float(differences.mean()), float(differences.std(ddof=1))
    low, high = limits_from_bias(bias, sd, share=share)
    z = normal_quantile(0.5 + share / 2.0)
    reach = t_quantile(0.5 + share / 2.0, n - 1) * sd / math.sqrt(n)
    limit_u = sd * math.sqrt(1.0 / n + z**2 / (2.0 * (n - 1)))
    return Limits(n, left_out, bias, bias - reach, bias + reach, sd, low, high, limit_u)


def limits_from_bias(bias: float, sd: float, *, share: float = 0.95) -> tuple[float, float]:
    """bias -+ z sd, z = 1.96 for a share of 0.95. Raises SeriesError: negative SD, odd share."""
    if not 0.0 < share < 1.0:
        raise SeriesError(f"share: expected a number between 0 and 1, received {share}")
    reach = normal_quantile(0.5 + share / 2.0) * checked_spread(sd, "sd")
    return bias - reach, bias + reach
