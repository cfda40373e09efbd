"""Two blocks of swings: has this number changed, with an interval and one plain verdict.

The verdict 'changed' needs two witnesses. One is the interval of the difference of means (Welch;
of trimmed means after Yuen where a block of 8 or more swings has strays). The other is the rank
interval (Hodges and Lehmann), which asks nothing of the shape of the spread. Both are widened by
what the swings of a block share, as independent standard uncertainties combine (JCGM 100:2008,
5.1.2; degrees of freedom after Welch and Satterthwaite, annex G.4). The rule is fixed before the
numbers are seen; how often it is wrong is simulated in tests/analysis/test_false_alarms.py.

Swings are taken as independent inside a block. Where neighbours resemble each other, give
`serial_correlation`, or the false alarms rise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from analysis.block_location import (
    FEWEST_TO_TRIM,
    Location,
    has_strays,
    mean_location,
    trimmed_location,
)
from analysis.detectable_change import FEWEST_SWINGS, lasting_uncertainty, swings_needed
from analysis.errors import SeriesError
from analysis.quantiles import t_quantile
from analysis.rank_interval import RankShift, rank_shift
from analysis.reliability import SessionSpread
from analysis.samples import Array
from analysis.serial_correlation import SerialCorrelation, variance_factor
from analysis.serial_correlation import serial_correlation as found_correlation
from analysis.series import Values, checked_fraction, measured


class Verdict(StrEnum):
    """What can be said of a change; one of three."""

    CHANGED = "changed"
    NOT_SHOWN = "not shown"
    TOO_FEW = "too few swings"


class Method(StrEnum):
    """What the difference is taken of."""

    MEANS = "means"
    TRIMMED_MEANS = "trimmed means"


@dataclass(frozen=True, slots=True)
class Block:
    """Swings of one block, and what they share.

    values (n,): one number a swing, None or NaN where it has none. shared_u: one standard
    uncertainty, in the values' unit, of what all swings of the block carry alike and the other
    block does not (sensors put on anew, another calibration); 0 where both blocks were hit
    without touching the sensors.
    """

    values: Values
    shared_u: float = 0.0


@dataclass(frozen=True, slots=True)
class BlockSummary:
    """What was used of a block. centre: its mean or trimmed mean; None where n is too small."""

    n: int
    left_out: int
    centre: float | None
    sd: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """The change from one block to the next, second minus first, in the values' unit.

    change, low, high: with the interval of `confidence`; None where a block has fewer than two
    swings. rank: the second witness; None where the swings are too few for it.
    standard_u, dof: of the change. lasting_u: its part that more swings do not lower.
    detectable: the smallest change that these two blocks can tell from none (half the interval).
    swings_needed: in each block to show `matters` four times in five; None where not asked, or
    where no number of swings is enough.
    sessions_known: whether the spread between sessions is in the interval.
    neighbours: lag-one correlation of swings inside the blocks, as found; None where too few.
    neighbours_allowed: the one that the interval allows for.
    """

    verdict: Verdict
    before: BlockSummary
    after: BlockSummary
    confidence: float
    method: Method
    change: float | None = None
    low: float | None = None
    high: float | None = None
    rank: RankShift | None = None
    standard_u: float | None = None
    dof: float | None = None
    lasting_u: float = 0.0
    detectable: float | None = None
    matters: float | None = None
    swings_needed: int | None = None
    sessions_known: bool = False
    neighbours: SerialCorrelation | None = None
    neighbours_allowed: float = 0.0


@dataclass(frozen=True, slots=True)
class _Widening:
    """What makes the interval wider than independent swings alone would."""

    lasting_u: float
    lasting_dof: float
    most_dof: float
    sampling_factor: float


def compare_blocks(
    before: Block,
    after: Block,
    *,
    between_sessions: SessionSpread | None = None,
    serial_correlation: float = 0.0,
    matters: float | None = None,
    looked_at_together: int = 1,
    confidence: float = 0.95,
) -> Comparison:
    """Compare two blocks of swings of one golfer in one number.

    between_sessions: the golfer's spread over earlier sessions without a change, for blocks of
    different days; of it and a block's `shared_u` the greater counts, for it holds the mounting.
    serial_correlation: lag-one correlation of swings inside a block, known from before; the
    sampling variance grows by (1 + r) / (1 - r), as for a first-order autoregression; below 0 it
    counts as 0.
    matters: the smallest change worth knowing of; turns 'not shown' into 'too few swings' where
    the blocks could not have shown it and more swings would.
    looked_at_together: how many numbers are compared and read side by side; the chance of a false
    'changed' is shared out among them (Bonferroni), so that it holds for all of them together.

    Raises SeriesError: a value that is no number, a negative uncertainty, a correlation outside
    (-1, 1), `matters` not above 0, no numbers looked at.
    """
    confidence = _shared_out(confidence, looked_at_together)
    if matters is not None and not (math.isfinite(matters) and matters > 0.0):
        raise SeriesError(f"matters: expected a number above 0, received {matters}")
    widening = _widening(before, after, between_sessions, serial_correlation)
    first, first_missing = measured(before.values, "first block")
    second, second_missing = measured(after.values, "second block")
    method = _method(first, second)
    nothing_yet = Comparison(
        verdict=Verdict.TOO_FEW,
        before=_summary(first, first_missing, method),
        after=_summary(second, second_missing, method),
        confidence=confidence,
        method=method,
        lasting_u=widening.lasting_u,
        matters=matters,
        sessions_known=between_sessions is not None,
        neighbours=found_correlation((before.values, after.values)),
        neighbours_allowed=max(serial_correlation, 0.0),
    )
    if min(first.size, second.size) < 2:
        return nothing_yet
    return _with_interval(nothing_yet, first, second, widening)


def _with_interval(
    so_far: Comparison, first: Array, second: Array, widening: _Widening
) -> Comparison:
    """The comparison with its intervals and the verdict, for blocks of two swings or more."""
    change, standard_u, dof = _difference(first, second, so_far.method, widening)
    tail = 0.5 + so_far.confidence / 2.0
    half = t_quantile(tail, dof) * standard_u
    if widening.lasting_u > 0.0:
        # With few swings a small lasting part raises the degrees of freedom by more than it adds
        # to the uncertainty; what is not known must not narrow what is shown.
        bare = replace(widening, lasting_u=0.0)
        _, bare_u, bare_dof = _difference(first, second, so_far.method, bare)
        half = max(half, t_quantile(tail, bare_dof) * bare_u)
    interval = (change - half, change + half)
    rank = rank_shift(first, second, confidence=so_far.confidence)
    rank = _widened(rank, widening, t_quantile(tail, dof)) if rank else None
    needed = _needed(first, second, so_far.matters, widening, so_far.confidence)
    return replace(
        so_far,
        verdict=_verdict(min(first.size, second.size), interval, rank, so_far.matters, needed),
        change=change,
        low=interval[0],
        high=interval[1],
        rank=rank,
        standard_u=standard_u,
        dof=dof,
        detectable=half,
        swings_needed=needed,
    )


def _verdict(
    fewest: int,
    interval: tuple[float, float],
    rank: RankShift | None,
    matters: float | None,
    needed: int | None,
) -> Verdict:
    """Enough swings, then both intervals on one side of zero, then what more swings would do."""
    if fewest < FEWEST_SWINGS or rank is None:
        return Verdict.TOO_FEW
    low, high = interval
    if (low > 0.0 and rank.low > 0.0) or (high < 0.0 and rank.high < 0.0):
        return Verdict.CHANGED
    known_to_be_small = matters is not None and -matters < low and high < matters
    if needed is not None and needed > fewest and not known_to_be_small:
        return Verdict.TOO_FEW
    return Verdict.NOT_SHOWN


def _shared_out(confidence: float, together: int) -> float:
    """The confidence of each of `together` intervals for `confidence` in all (Bonferroni)."""
    checked_fraction(confidence, "confidence")
    if together < 1:
        raise SeriesError(f"looked_at_together: expected 1 or more, received {together}")
    return 1.0 - (1.0 - confidence) / together


def _widening(
    before: Block, after: Block, sessions: SessionSpread | None, serial_correlation: float
) -> _Widening:
    """Lasting uncertainty of the difference with its dof, and the factor on sampling variance.

    With sessions known, no interval claims more degrees of freedom than their means have: the
    estimate of a small between-session spread is often zero by chance, and the uncapped formula
    then gave up to 7.5 % false alarms in simulation with three earlier sessions.
    """
    factor = variance_factor(serial_correlation)
    between = sessions.between_sd if sessions else 0.0
    lasting = lasting_uncertainty(before.shared_u, after.shared_u, between)
    if sessions is None:
        return _Widening(lasting, math.inf, math.inf, factor)
    estimated = between > min(before.shared_u, after.shared_u)
    dof = sessions.between_dof if estimated else math.inf
    return _Widening(lasting, dof, sessions.mean_dof, factor)


def _method(first: Array, second: Array) -> Method:
    """Trimmed means where both blocks can be trimmed and either has strays."""
    if min(first.size, second.size) >= FEWEST_TO_TRIM and (has_strays(first) or has_strays(second)):
        return Method.TRIMMED_MEANS
    return Method.MEANS


def _location(values: Array, method: Method) -> Location:
    return trimmed_location(values) if method is Method.TRIMMED_MEANS else mean_location(values)


def _summary(values: Array, missing: int, method: Method) -> BlockSummary:
    centre = sd = None
    if values.size:
        centre = float(values.mean())
    if values.size > 1:
        centre, sd = _location(values, method).centre, float(values.std(ddof=1))
    return BlockSummary(values.size, missing, centre, sd)


def _difference(
    first: Array, second: Array, method: Method, widening: _Widening
) -> tuple[float, float, float]:
    """Change, its standard uncertainty and degrees of freedom (Welch-Satterthwaite)."""
    one, two = _location(first, method), _location(second, method)
    parts = [(part.variance * widening.sampling_factor, part.dof) for part in (one, two)]
    parts.append((widening.lasting_u**2, widening.lasting_dof))
    variance = sum(part for part, _ in parts)
    spent = sum(part**2 / dof for part, dof in parts if part > 0.0)
    dof = variance**2 / spent if spent > 0.0 else math.inf
    return two.centre - one.centre, math.sqrt(variance), min(dof, widening.most_dof)


def _widened(rank: RankShift, widening: _Widening, reach: float) -> RankShift:
    """The rank interval with the lasting part added in quadrature on either side."""
    lasting = reach * widening.lasting_u
    factor = math.sqrt(widening.sampling_factor)
    below = math.hypot(factor * (rank.shift - rank.low), lasting)
    above = math.hypot(factor * (rank.high - rank.shift), lasting)
    return RankShift(rank.shift, rank.shift - below, rank.shift + above)


def _needed(
    first: Array, second: Array, matters: float | None, widening: _Widening, confidence: float
) -> int | None:
    """Swings a block for `matters`, at the pooled spread of the two blocks."""
    if matters is None:
        return None
    squares = first.var() * first.size + second.var() * second.size
    pooled = math.sqrt(float(squares) / (first.size + second.size - 2))
    return swings_needed(
        matters,
        pooled * math.sqrt(widening.sampling_factor),
        lasting_u=widening.lasting_u,
        most_dof=widening.most_dof,
        confidence=confidence,
    )
