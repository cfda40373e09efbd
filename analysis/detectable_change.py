"""The smallest change of a block's mean that swings and sensors can show, and how many swings
it takes.

Two kinds of spread stand in the way. Swings differ from one another: that part shrinks with the
root of their number. What all swings of a block share (how the sensors sit, the calibration, the
golfer's day) does not shrink: it is the lasting part, and no number of swings goes below it.

Sources: minimal detectable change as in analysis.reliability, carried from single scores to
means; combination of independent standard uncertainties: JCGM 100:2008 (GUM), 5.1.2.
"""

from __future__ import annotations

import math

from analysis.errors import SeriesError
from analysis.quantiles import normal_quantile, t_quantile
from analysis.series import checked_fraction, checked_spread

FEWEST_SWINGS = 5
"""A block of fewer carries no verdict. Our choice: with 4 and 4 swings the exact rank test has a
single outcome beyond 5 %, and the interval is a quarter wider than with the spread known."""

USUAL_POWER = 0.8
"""Chance of showing a change that planning asks for; common practice, no source."""

MOST_SWINGS = 1000
"""Planning stops here; nobody hits more in a block."""


def uncertainty_of_change(
    within_sd: float,
    before: int,
    after: int,
    *,
    shared_u_before: float = 0.0,
    shared_u_after: float = 0.0,
    between_sd: float = 0.0,
) -> float:
    """Standard uncertainty of the difference of two block means, in the unit of `within_sd`.

    sqrt(s^2/n1 + s^2/n2 + u1^2 + u2^2), where u of a block is the greater of what its sensors
    carry (`shared_u_...`, one standard uncertainty that its swings share and the other block's do
    not) and the spread between sessions (`between_sd`), which holds the mounting already.

    Raises SeriesError: a spread below 0, a block without swings.
    """
    if before < 1 or after < 1:
        raise SeriesError(f"swings: expected 1 or more in each block, received {before}, {after}")
    checked_spread(within_sd, "within_sd")
    lasting = lasting_uncertainty(shared_u_before, shared_u_after, between_sd)
    return math.sqrt(within_sd**2 * (1.0 / before + 1.0 / after) + lasting**2)


def lasting_uncertainty(
    shared_u_before: float, shared_u_after: float, between_sd: float = 0.0
) -> float:
    """The part of a change's standard uncertainty that swings do not average away."""
    between = checked_spread(between_sd, "between_sd")
    return math.hypot(
        max(checked_spread(shared_u_before, "shared_u of the first block"), between),
        max(checked_spread(shared_u_after, "shared_u of the second block"), between),
    )


def minimal_detectable_change_of_means(
    within_sd: float,
    before: int,
    after: int,
    *,
    shared_u_before: float = 0.0,
    shared_u_after: float = 0.0,
    between_sd: float = 0.0,
    confidence: float = 0.95,
) -> float:
    """Smallest difference of two block means beyond what happens without any change.

    z times `uncertainty_of_change`, for spreads that are known from plenty of swings; with one
    swing in each block and nothing shared it is the minimal detectable change of single scores.
    """
    tail = 0.5 + checked_fraction(confidence, "confidence") / 2.0
    return normal_quantile(tail) * uncertainty_of_change(
        within_sd,
        before,
        after,
        shared_u_before=shared_u_before,
        shared_u_after=shared_u_after,
        between_sd=between_sd,
    )


def swings_needed(
    change: float,
    within_sd: float,
    *,
    lasting_u: float = 0.0,
    most_dof: float = math.inf,
    confidence: float = 0.95,
    power: float = USUAL_POWER,
) -> int | None:
    """Swings in each of two blocks so that a true `change` is shown with chance `power`.

    The fewest n from FEWEST_SWINGS on with
    (t(confidence) + t(power)) sqrt(2 s^2/n + lasting_u^2) <= |change|, t with 2n - 2 degrees of
    freedom, at most `most_dof` (where `lasting_u` rests on few sessions); within one swing of the
    noncentral-t answer. None where `lasting_u` (of the difference, see `lasting_uncertainty`)
    alone is too large, or over MOST_SWINGS.

    Raises SeriesError: change 0 or not finite, spreads below 0, chances outside 0 to 1.
    """
    if not (math.isfinite(change) and change != 0.0):
        raise SeriesError(f"change: expected a number other than 0, received {change}")
    checked_spread(within_sd, "within_sd")
    checked_spread(lasting_u, "lasting_u")
    tail = 0.5 + checked_fraction(confidence, "confidence") / 2.0
    checked_fraction(power, "power")
    least_factor = t_quantile(tail, most_dof) + t_quantile(power, most_dof)
    room = (change / least_factor) ** 2 - lasting_u**2
    if room <= 0.0:
        return None
    first = max(FEWEST_SWINGS, math.ceil(min(2.0 * within_sd**2 / room, MOST_SWINGS)))
    for n in range(first, MOST_SWINGS + 1):
        dof = min(2 * n - 2, most_dof)
        factor = t_quantile(tail, dof) + t_quantile(power, dof)
        if factor * math.sqrt(2.0 * within_sd**2 / n + lasting_u**2) <= abs(change):
            return n
    return None
