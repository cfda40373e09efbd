"""Which numbers of a swing are summed up and compared: those that do not tell a time of day."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.columns import COLUMNS, Column
from server.errors import UnusableInputError

MOMENTS = frozenset(
    {
        "address_s",
        "takeaway_s",
        "top_s",
        "impact_s",
        "pelvis_reversal_s",
        "pelvis_peak_s",
        "upper_back_peak_s",
        "separation_max_s",
    }
)
"""Moments of session time: their mean over swings says nothing."""
COMPARABLE: dict[str, Column] = {
    column.name: column
    for column in COLUMNS
    if column.has_uncertainty and column.name not in MOMENTS
}
KEY_METRICS = (
    "separation_top_deg",
    "separation_gain_deg",
    "transition_lead_ms",
    "pelvis_turn_top_deg",
    "upper_back_turn_top_deg",
    "pelvis_peak_dps",
    "upper_back_peak_dps",
    "mean_rate_dps2",
)
"""What training is aimed at: turn, separation, transition, speed and how quickly it is built. Few,
because numbers read together share one chance of a false 'changed'."""
BY_REVERSAL = frozenset({"transition_lead_ms"})
"""Numbers that are only as sharp as both reversals: ill-defined where a segment dwells."""


def columns_asked_for(names: Sequence[str] | None) -> list[Column]:
    """Columns of `names`, each once, in the order asked for; without names the key metrics.

    Raises UnusableInputError: a name that is no number that can be compared.
    """
    wanted = list(dict.fromkeys(names or KEY_METRICS))
    unknown = [name for name in wanted if name not in COMPARABLE]
    if unknown:
        raise UnusableInputError(
            f"metrics: {', '.join(map(repr, unknown))} cannot be compared between swings; expected "
            f"one or more of {', '.join(COMPARABLE)}"
        )
    return [COMPARABLE[name] for name in wanted]
