"""How much a number varies when nothing changed: within a session, and from session to session.

From swings: the within-session SD, and what a session's mean moves from session to session.
From golfers measured on repeated occasions: the standard error of measurement and the smallest
change of one golfer's score that is not within it.

Sources: Bland JM, Altman DG. Measurement error. BMJ 1996;312:1654 (within-subject SD). Weir JP.
Quantifying test-retest reliability using the intraclass correlation coefficient and the SEM.
J Strength Cond Res 2005;19(1):231-240. Searle SR. Linear Models. Wiley 1971 (variance components
of unequal groups). Chi-square interval of a standard deviation: any text on statistics.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.errors import SeriesError
from analysis.intraclass import mean_squares
from analysis.quantiles import chi_square_quantile, normal_quantile
from analysis.samples import Array
from analysis.series import Values, checked_fraction, checked_spread, measured


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation with its interval, in the unit of the values.

    n: values used; left_out: values that were missing; dof: degrees of freedom behind `sd`;
    mean: of all values used.
    """

    n: int
    left_out: int
    mean: float
    sd: float
    low: float
    high: float
    dof: int

    @property
    def coefficient_of_variation_pct(self) -> float | None:
        """100 sd / |mean|; None at a mean of zero. For quantities with a true zero only."""
        return 100.0 * self.sd / abs(self.mean) if self.mean != 0.0 else None


@dataclass(frozen=True, slots=True)
class SessionSpread:
    """What one golfer's swings vary within sessions, and session means beyond that.

    within: pooled over the sessions. between_sd: of the sessions' own levels, the part that no
    number of swings averages away (the golfer's day, and how the sensors were put on); 0 where
    the means differ no more than the swings explain. between_dof: its degrees of freedom after
    Satterthwaite; mean_dof: sessions less one. swings: (weighted) mean number in a session.
    """

    sessions: int
    swings: float
    within: Spread
    between_sd: float
    between_dof: float

    @property
    def mean_dof(self) -> int:
        """Degrees of freedom of the sessions' means."""
        return self.sessions - 1

    def standard_error_of_mean(self, swings: int) -> float:
        """SD of the mean of `swings` swings of one session about the golfer's own level.

        sqrt(between_sd^2 + within.sd^2 / swings).
        """
        if swings < 1:
            raise SeriesError(f"swings: expected 1 or more, received {swings}")
        return math.hypot(self.between_sd, self.within.sd / math.sqrt(swings))


class ErrorKind(StrEnum):
    """What counts as error between occasions."""

    AGREEMENT = "agreement"
    """Also a shift of all golfers from one occasion to the next: the within-subject SD."""
    CONSISTENCY = "consistency"
    """Only what is left after such a shift was taken off: the two-way residual."""


@dataclass(frozen=True, slots=True)
class MeasurementError:
    """Standard error of measurement of one golfer's score, with its interval, in its unit.

    mdc: the smallest change between two scores of one golfer that is outside `confidence` of
    what repeated measuring gives without any change.
    """

    kind: ErrorKind
    golfers: int
    occasions: int
    left_out: int
    sem: float
    low: float
    high: float
    dof: int
    confidence: float

    @property
    def mdc(self) -> float:
        """Minimal detectable change; MDC95 at a confidence of 0.95."""
        return minimal_detectable_change(self.sem, confidence=self.confidence)


def within_session_sd(sessions: Sequence[Values], *, confidence: float = 0.95) -> Spread:
    """SD of a golfer's swings inside a session, pooled over `sessions`.

    sqrt(sum of squares about each session's own mean / (swings - sessions)); interval
    sd sqrt(dof / chi-square quantile), which holds for normally spread swings. A session with
    no number drops out; one with a single number adds to the mean only.

    Raises SeriesError: no session with two numbers, or a value that is no number.
    """
    checked_fraction(confidence, "confidence")
    kept, left_out = _sessions(sessions)
    dof = sum(values.size - 1 for values in kept)
    if dof < 1:
        raise SeriesError("sessions: expected at least one session with 2 swings or more")
    squares = sum(float(((values - values.mean()) ** 2).sum()) for values in kept)
    sd = math.sqrt(squares / dof)
    low, high = sd_interval(sd, dof, confidence=confidence)
    every = np.concatenate(kept)
    return Spread(every.size, left_out, float(every.mean()), sd, low, high, dof)


def sd_interval(sd: float, dof: float, *, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a standard deviation from normal values: sd sqrt(dof / chi-square quantile)."""
    tail = (1.0 - checked_fraction(confidence, "confidence")) / 2.0
    return (
        sd * math.sqrt(dof / chi_square_quantile(1.0 - tail, dof)),
        sd * math.sqrt(dof / chi_square_quantile(tail, dof)),
    )


def session_to_session(sessions: Sequence[Values], *, confidence: float = 0.95) -> SessionSpread:
    """Spread within and between sessions in which nothing was meant to change.

    One-way random-effects analysis of variance with unequal groups (Searle 1971):
    between variance = (MS_between - MS_within) / n0, n0 = (N - sum n_i^2 / N) / (a - 1).
    Sessions measured with the sensors put on anew hold the mounting's part as well.

    Raises SeriesError: fewer than two sessions with a number, or none with two.
    """
    within = within_session_sd(sessions, confidence=confidence)
    kept, _ = _sessions(sessions)
    a = len(kept)
    if a < 2:
        raise SeriesError(f"sessions: expected at least 2 with swings, received {a}")
    sizes = np.array([values.size for values in kept], dtype=np.float64)
    means = np.array([values.mean() for values in kept])
    between_ms = float((sizes * (means - within.mean) ** 2).sum()) / (a - 1)
    within_ms = within.sd**2
    n0 = float(sizes.sum() - (sizes**2).sum() / sizes.sum()) / (a - 1)
    excess = max(between_ms - within_ms, 0.0)
    share = between_ms**2 / (a - 1) + within_ms**2 / within.dof
    return SessionSpread(
        sessions=a,
        swings=n0,
        within=within,
        between_sd=math.sqrt(excess / n0),
        between_dof=excess**2 / share if share > 0.0 else float(a - 1),
    )


def measurement_error(
    scores: Sequence[Values] | Array,
    *,
    kind: ErrorKind = ErrorKind.AGREEMENT,
    confidence: float = 0.95,
) -> MeasurementError:
    """Standard error of measurement of `scores`, one row a golfer, one column an occasion.

    Agreement: the root of the within-subject mean square (Bland and Altman 1996). Consistency:
    the root of the two-way residual mean square (Weir 2005). Interval by chi-square.

    Raises SeriesError as `intraclass.mean_squares` does.
    """
    squares = mean_squares(scores)
    agreement = kind is ErrorKind.AGREEMENT
    sem = math.sqrt(squares.within if agreement else squares.residual)
    dof = squares.within_dof if agreement else squares.residual_dof
    low, high = sd_interval(sem, dof, confidence=confidence)
    return MeasurementError(
        kind, squares.golfers, squares.occasions_count, squares.left_out, sem, low, high, dof,
        confidence,
    )  # fmt: skip


def standard_error_from_icc(sd: float, icc: float) -> float:
    """SEM = SD sqrt(1 - ICC) (Weir 2005), in the unit of `sd`, the SD of all scores.

    Raises SeriesError: a negative SD or an ICC above 1.
    """
    checked_spread(sd, "sd")
    if not icc <= 1.0:
        raise SeriesError(f"icc: expected a number of at most 1, received {icc}")
    return sd * math.sqrt(1.0 - icc)


def minimal_detectable_change(sem: float, *, confidence: float = 0.95) -> float:
    """Smallest change between two scores beyond measurement error: z sqrt(2) SEM.

    z = 1.96 at a confidence of 0.95 (Weir 2005). `sem` in the score's unit.
    Raises SeriesError: a negative SEM, a confidence outside 0 to 1.
    """
    tail = 0.5 + checked_fraction(confidence, "confidence") / 2.0
    return normal_quantile(tail) * math.sqrt(2.0) * checked_spread(sem, "sem")


def _sessions(sessions: Sequence[Values]) -> tuple[list[Array], int]:
    """The numbers of each session that has any, and how many values were missing in all."""
    parts = [
        measured(values, f"session {number}") for number, values in enumerate(sessions, start=1)
    ]
    return [values for values, _ in parts if values.size], sum(missing for _, missing in parts)
