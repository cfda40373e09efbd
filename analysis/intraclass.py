"""Intraclass correlation: how well a score tells golfers apart, over repeated occasions.

Mean squares of a two-way table (golfers x occasions) without replication, and the six forms of
the coefficient with their F tests and intervals.

Sources: Shrout PE, Fleiss JL. Intraclass correlations: uses in assessing rater reliability.
Psychol Bull 1979;86(2):420-428. McGraw KO, Wong SP. Forming inferences about some intraclass
correlation coefficients. Psychol Methods 1996;1(1):30-46 (intervals: table 7).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.errors import SeriesError
from analysis.quantiles import f_quantile, f_upper_tail
from analysis.samples import Array
from analysis.series import Values, checked_fraction, complete_rows


class IccForm(StrEnum):
    """Shrout and Fleiss's six forms; in brackets McGraw and Wong's names.

    First figure, the model: 1 each golfer has occasions of their own; 2 occasions are a sample
    and shifts between them count as error (absolute agreement); 3 shifts between occasions do
    not count (consistency). Second figure: one score, or the mean of the k scores.
    """

    ONE_SINGLE = "ICC(1,1)"  # ICC(1)
    TWO_SINGLE = "ICC(2,1)"  # ICC(A,1)
    THREE_SINGLE = "ICC(3,1)"  # ICC(C,1)
    ONE_MEAN = "ICC(1,k)"  # ICC(k)
    TWO_MEAN = "ICC(2,k)"  # ICC(A,k)
    THREE_MEAN = "ICC(3,k)"  # ICC(C,k)


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """Analysis of variance of golfers x occasions, one score a cell, in the score's unit squared.

    between: golfers; within: inside golfers (one-way); occasions; residual: what golfers and
    occasions leave (two-way). left_out: golfers with a gap, not used. sd: of all scores.
    """

    golfers: int
    occasions_count: int
    left_out: int
    mean: float
    sd: float
    between: float
    within: float
    occasions: float
    residual: float

    @property
    def within_dof(self) -> int:
        """Degrees of freedom of `within`."""
        return self.golfers * (self.occasions_count - 1)

    @property
    def residual_dof(self) -> int:
        """Degrees of freedom of `residual`."""
        return (self.golfers - 1) * (self.occasions_count - 1)


@dataclass(frozen=True, slots=True)
class Icc:
    """One coefficient with its interval and the F test of 'the coefficient is zero'.

    A coefficient below zero is given as it comes out: the golfers differ less than the scores
    of one golfer do.
    """

    form: IccForm
    value: float
    low: float
    high: float
    f: float
    dof_above: int
    dof_below: int
    p_value: float


def mean_squares(scores: Sequence[Values] | Array) -> MeanSquares:
    """Mean squares of `scores`, one row a golfer, one column an occasion; rows with a gap drop out.

    Raises SeriesError: fewer than three complete rows or two columns, or no golfer differs.
    """
    table, left_out = complete_rows(scores, "scores")
    n, k = table.shape
    if n < 3 or k < 2:
        raise SeriesError(
            f"scores: expected at least 3 golfers with all of at least 2 occasions, "
            f"received {n} complete rows of {k}"
        )
    grand = float(table.mean())
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    within = float(((table - rows[:, None]) ** 2).sum()) / (n * (k - 1))
    residual_ss = float(((table - rows[:, None] - columns + grand) ** 2).sum())
    between = k * float(((rows - grand) ** 2).sum()) / (n - 1)
    occasions = n * float(((columns - grand) ** 2).sum()) / (k - 1)
    # A spread at the level of rounding is no spread: every ratio of it would be noise.
    floor = k * (8.0 * np.finfo(np.float64).eps * float(np.abs(table).max())) ** 2
    between, within, occasions, residual = (
        square if square > floor else 0.0
        for square in (between, within, occasions, residual_ss / ((n - 1) * (k - 1)))
    )
    if between == 0.0 and residual == 0.0:
        raise SeriesError("scores: all golfers score the same, so no reliability can be computed")
    sd = float(table.std(ddof=1))
    return MeanSquares(n, k, left_out, grand, sd, between, within, occasions, residual)


def intraclass_correlations(
    scores: Sequence[Values] | Array, *, confidence: float = 0.95
) -> dict[IccForm, Icc]:
    """All six coefficients of `scores`, one row a golfer, one column an occasion.

    Raises SeriesError as `mean_squares` does, or for a confidence outside 0 to 1.
    """
    checked_fraction(confidence, "confidence")
    squares = mean_squares(scores)
    tail = 0.5 + confidence / 2.0
    one = _ratio_form(squares, squares.within, squares.within_dof, tail)
    three = _ratio_form(squares, squares.residual, squares.residual_dof, tail)
    two = _agreement_form(squares, tail)
    found = {}
    for single, mean, bounds, error, dof in (
        (IccForm.ONE_SINGLE, IccForm.ONE_MEAN, one, squares.within, squares.within_dof),
        (IccForm.TWO_SINGLE, IccForm.TWO_MEAN, two, squares.residual, squares.residual_dof),
        (IccForm.THREE_SINGLE, IccForm.THREE_MEAN, three, squares.residual, squares.residual_dof),
    ):
        f = squares.between / error if error > 0.0 else math.inf
        p_value = f_upper_tail(f, squares.golfers - 1, dof)
        for form, steps in ((single, 1), (mean, squares.occasions_count)):
            value, low, high = (stepped_up(bound, steps) for bound in bounds)
            found[form] = Icc(form, value, low, high, f, squares.golfers - 1, dof, p_value)
    return {form: found[form] for form in IccForm}


def stepped_up(single: float, k: float) -> float:
    """Reliability of the mean of k scores from that of one: k r / (1 + (k - 1) r).

    Source: Spearman 1910 and Brown 1910, Br J Psychol 3, as used by Shrout and Fleiss 1979.
    Minus infinity where the single coefficient has reached its lower bound, -1/(k - 1).
    """
    below = 1.0 + (k - 1.0) * single
    return k * single / below if below > 0.0 else -math.inf


def _ratio_form(
    squares: MeanSquares, error: float, dof: int, tail: float
) -> tuple[float, float, float]:
    """Value and bounds of forms 1 and 3: functions of F = between / error alone."""
    n, k = squares.golfers, squares.occasions_count
    if error == 0.0:
        return 1.0, 1.0, 1.0
    f = squares.between / error
    low = f / f_quantile(tail, n - 1, dof)
    high = f * f_quantile(tail, dof, n - 1)
    value, below, above = ((ratio - 1.0) / (ratio + k - 1.0) for ratio in (f, low, high))
    return value, below, above


def _agreement_form(squares: MeanSquares, tail: float) -> tuple[float, float, float]:
    """Value and bounds of form 2, the degrees of freedom after Satterthwaite."""
    n, k = squares.golfers, squares.occasions_count
    between, occasions, residual = squares.between, squares.occasions, squares.residual
    if residual == 0.0 and occasions == 0.0:
        return 1.0, 1.0, 1.0
    value = (between - residual) / (between + (k - 1) * residual + k * (occasions - residual) / n)
    # Below zero the approximation has no meaning; there the bounds are taken as at zero.
    odds = max(value, 0.0) / (1.0 - max(value, 0.0))
    a = k * odds / n
    b = 1.0 + k * odds * (n - 1) / n
    share = (a * occasions) ** 2 / (k - 1) + (b * residual) ** 2 / squares.residual_dof
    dof = (a * occasions + b * residual) ** 2 / share
    error = k * occasions + (k * n - k - n) * residual
    f_low, f_high = f_quantile(tail, n - 1, dof), f_quantile(tail, dof, n - 1)
    low = n * (between - f_low * residual) / (f_low * error + n * between)
    high = n * (f_high * between - residual) / (error + n * f_high * between)
    return value, low, high
