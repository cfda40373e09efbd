"""Where a speed difference comes from: a longer runway, or speed built faster.

peak^2 = 2 x rate x runway, hence exactly
ln(peak / peak_ref) = 1/2 ln(runway / runway_ref) + 1/2 ln(rate / rate_ref).
The work-energy theorem for turning about one axis with the mean taken over the angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.errors import BudgetError


@dataclass(frozen=True, slots=True)
class Drive:
    """A turn from rest to its peak: runway in any unit of angle, rate in that unit per s^2."""

    runway: float
    rate: float

    @property
    def peak(self) -> float:
        """Peak speed, the unit of angle per s."""
        return math.sqrt(2.0 * self.rate * self.runway)


@dataclass(frozen=True, slots=True)
class SpeedBudget:
    """A speed difference in two parts that add up exactly, as logarithms of ratios."""

    runway_part: float
    rate_part: float

    @property
    def total(self) -> float:
        """ln(peak / peak_ref)."""
        return self.runway_part + self.rate_part

    @property
    def runway_share_pct(self) -> float:
        """Speed from the longer runway alone, per cent of the reference speed."""
        return 100.0 * math.expm1(self.runway_part)

    @property
    def rate_share_pct(self) -> float:
        """Speed from building it faster alone, per cent of the reference speed."""
        return 100.0 * math.expm1(self.rate_part)


def drive(peak: float, runway: float) -> Drive:
    """Drive from a peak speed and its runway. Raises BudgetError where either is not above zero."""
    if not (peak > 0.0 and runway > 0.0 and math.isfinite(peak) and math.isfinite(runway)):
        raise BudgetError(
            f"speed budget: expected a peak and a runway above zero, received {peak} and {runway}"
        )
    return Drive(runway, peak * peak / (2.0 * runway))


def speed_budget(swing: Drive, reference: Drive) -> SpeedBudget:
    """What of a swing's speed above or below a reference comes from runway and from rate.

    Raises BudgetError where a runway or a rate is not above zero.
    """
    for value in (swing.runway, swing.rate, reference.runway, reference.rate):
        if not (value > 0.0 and math.isfinite(value)):
            raise BudgetError(
                f"speed budget: expected runways and rates above zero, received {value}"
            )
    return SpeedBudget(
        0.5 * math.log(swing.runway / reference.runway),
        0.5 * math.log(swing.rate / reference.rate),
    )
