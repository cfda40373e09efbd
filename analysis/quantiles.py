"""The median, and quantiles of the sampling distributions, infinite degrees of freedom allowed.

Thin over scipy.special, which loads a good deal faster than the distribution objects.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from analysis.samples import Array


def median(values: Array) -> float:
    """Middle of all values (n, ...), n >= 1: numpy's, without the cost of its search for NaN."""
    low, high = (values.size - 1) // 2, values.size // 2
    ordered = np.partition(values, high, axis=None)
    # all below `high` is no greater than it, so the one before it is the greatest of these
    return 0.5 * float(ordered[high] + (ordered[:high].max() if low < high else ordered[high]))


def normal_quantile(probability: float) -> float:
    """Quantile of the standard normal distribution."""
    return float(special.ndtri(probability))


def t_quantile(probability: float, dof: float) -> float:
    """Quantile of Student's t; `dof` > 0, infinity gives the normal quantile."""
    if math.isinf(dof):
        return normal_quantile(probability)
    return float(special.stdtrit(dof, probability))


def chi_square_quantile(probability: float, dof: float) -> float:
    """Quantile of chi-square, lower tail; `dof` > 0."""
    return float(special.chdtri(dof, 1.0 - probability))


def f_quantile(probability: float, dof_above: float, dof_below: float) -> float:
    """Quantile of F, lower tail."""
    return float(special.fdtri(dof_above, dof_below, probability))


def f_upper_tail(value: float, dof_above: float, dof_below: float) -> float:
    """Probability that F is greater than `value`; 0 for an infinite value."""
    if math.isinf(value):
        return 0.0
    return float(special.fdtrc(dof_above, dof_below, max(value, 0.0)))
