"""A comparison or a drift in one plain sentence, and what to keep in mind beside it."""

from __future__ import annotations

from analysis.comparison import Comparison, Method, Verdict
from analysis.detectable_change import FEWEST_SWINGS
from analysis.fatigue import FEWEST_SWINGS as FEWEST_FOR_DRIFT
from analysis.fatigue import Drift, SessionSlope
from analysis.results import Flag


def comparison_sentence(comparison: Comparison, *, label: str, unit: str, decimals: int = 1) -> str:
    """The verdict and its reason, for a reader without statistics.

    label: the name of the number, as in analysis.columns; unit: as shown behind it.
    """
    if comparison.verdict is Verdict.CHANGED:
        return f"{label}: changed. {_change(comparison, unit, decimals)}."
    if comparison.verdict is Verdict.NOT_SHOWN:
        why = _why_not(comparison, unit, decimals)
        return f"{label}: not shown. {_change(comparison, unit, decimals)}; {why}."
    return f"{label}: too few swings. {_what_is_missing(comparison, unit, decimals)}."


def comparison_cautions(comparison: Comparison) -> tuple[Flag, ...]:
    """What a reader of the verdict must know besides; code stable, text for people."""
    found = []
    missing = comparison.before.left_out + comparison.after.left_out
    if missing:
        found.append(Flag("left_out", f"{missing} swings had no number and were left out"))
    if comparison.method is Method.TRIMMED_MEANS:
        found.append(Flag("strays", "some swings stray far: the middle of each block was compared"))
    if not comparison.sessions_known:
        found.append(
            Flag(
                "day_not_known",
                "holds for these swings; how much this golfer moves from day to day without "
                "training is not known yet",
            )
        )
    if _lasting_dominates(comparison):
        found.append(
            Flag(
                "more_swings_do_not_help",
                "how the sensors sit, or the day, limits this comparison: more swings do not help",
            )
        )
    if _neighbours_alike(comparison):
        found.append(
            Flag(
                "neighbours_alike",
                "swings resemble the one before: the range is narrower than it should be",
            )
        )
    if _small(comparison):
        found.append(Flag("small", "any change is smaller than the one that matters"))
    return tuple(found)


def drift_sentence(slope: SessionSlope, *, label: str, unit: str, decimals: int = 1) -> str:
    """Whether the number drifts over the session, for a reader without statistics."""
    if slope.verdict is Drift.TOO_FEW or slope.over_session is None:
        return (
            f"{label}: too few swings to see a drift. {slope.n} with a number; "
            f"at least {FEWEST_FOR_DRIFT} are needed."
        )
    way = "up" if slope.over_session > 0.0 else "down"
    size = _number(abs(slope.over_session), unit, decimals)
    if slope.verdict is Drift.SHOWN:
        return f"{label}: drifts {way} by about {size} from the first swing to the last."
    return f"{label}: no drift shown over {slope.n} swings."


def _change(comparison: Comparison, unit: str, decimals: int) -> str:
    """Both centres, the change and its interval."""
    first, second = comparison.before.centre, comparison.after.centre
    change, low, high = comparison.change, comparison.low, comparison.high
    if first is None or second is None or change is None or low is None or high is None:
        return "No change could be computed"
    return (
        f"From {_digits(first, decimals)} to {_number(second, unit, decimals)}, "
        f"a difference of {_signed(change, decimals)} "
        f"({100.0 * comparison.confidence:.3g} % range {_signed(low, decimals)} to "
        f"{_signed(high, decimals)})"
    )


def _why_not(comparison: Comparison, unit: str, decimals: int) -> str:
    """Why a difference is not called a change: too small to tell, or borne out by few swings."""
    detectable, change = comparison.detectable, comparison.change
    if detectable is not None and change is not None and abs(change) <= detectable:
        return f"less than {_number(detectable, unit, decimals)} cannot be told from none here"
    return "the swings of the two blocks overlap too much to call it a change"


def _what_is_missing(comparison: Comparison, unit: str, decimals: int) -> str:
    first, second = comparison.before.n, comparison.after.n
    here = f"{first} in the first block and {second} in the second have a number"
    if min(first, second) < FEWEST_SWINGS:
        return f"{here}; at least {FEWEST_SWINGS} in each are needed"
    if comparison.swings_needed and comparison.matters:
        return (
            f"{here}; about {comparison.swings_needed} in each would show a change of "
            f"{_number(comparison.matters, unit, decimals)}"
        )
    return f"{here}; for so many numbers read together more are needed"


def _lasting_dominates(comparison: Comparison) -> bool:
    """Whether what swings share makes up more than half of the change's variance."""
    standard_u = comparison.standard_u
    if standard_u is None or comparison.verdict is Verdict.CHANGED:
        return False
    return 2.0 * comparison.lasting_u**2 > standard_u**2


def _neighbours_alike(comparison: Comparison) -> bool:
    neighbours = comparison.neighbours
    return (
        neighbours is not None
        and neighbours.evident
        and neighbours.value > comparison.neighbours_allowed
    )


def _small(comparison: Comparison) -> bool:
    """Whether the whole interval lies within what matters (an equivalence test's criterion)."""
    low, high, matters = comparison.low, comparison.high, comparison.matters
    if low is None or high is None or matters is None:
        return False
    return -matters < low and high < matters


def _number(value: float | None, unit: str, decimals: int) -> str:
    """With its unit; an angle takes no space in between (SI brochure, 9th edition, 5.4.3)."""
    if value is None:
        return "an unknown amount"
    gap = "" if unit[:1] in ("", "°") else " "
    return f"{_digits(value, decimals)}{gap}{unit}"


def _signed(value: float, decimals: int) -> str:
    """With its sign, since turns away from the target are negative."""
    sign = "+" if round(value, decimals) > 0.0 else ""
    return sign + _digits(value, decimals)


def _digits(value: float, decimals: int) -> str:
    """With a true minus, and no zero below zero."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "\N{MINUS SIGN}")
