"""One standard uncertainty for every number of a swing (GUM, JCGM 100:2008, 5.1 and 5.2).

Each number is followed as the row of what every independent cause adds to it, so that numbers made
of others (a separation, a ratio) carry the correlations of their parts without more ado:
    u^2(y) = sum over causes of (dy/dx u(x))^2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.error_causes import (
    ADDRESS,
    ADDRESS_U_S,
    IMPACT,
    INERTIA,
    INERTIA_U,
    RIVAL,
    RIVAL_TIME,
    SQUARE,
    SQUARE_U,
    TAKEAWAY,
    TAKEAWAY_U_S,
    TOTAL,
    lasting,
    mixing,
)
from analysis.events import ONSET_RATE, SLOPE_WITHIN_S
from analysis.greatest_effects import GreatestEffects, SearchedCurve, greatest_effects
from analysis.kinematics import SegmentPath
from analysis.metrics import Metrics, Separation, SwingMoments
from analysis.moment_effects import Moment, MomentEffects
from analysis.orientation import SegmentMotion
from analysis.samples import Array, Segment
from analysis.segment_reading import SegmentReading, power_peak_s

Effects = dict[str, Array]

EDGE_S = 0.002
"""A fastest closing so near to the end of its search is moved by that end."""
COARSE_S = 0.01
"""Step over which effects on a separation are taken as straight."""
_LASTING = lasting()


@dataclass(frozen=True, slots=True)
class SwingReading:
    """All that a swing's numbers were read from. Pairs: pelvis, upper back.

    clock_u_s: of each sensor's clock in session time, s. scale_u: relative, of each gyro's scale
    about its axes (3,), where a scale check has measured it.
    """

    motions: tuple[SegmentMotion, SegmentMotion]
    paths: tuple[SegmentPath, SegmentPath]
    moments: SwingMoments
    apart: Separation
    metrics: Metrics
    clock_u_s: tuple[float, float]
    calibrated: bool
    scale_u: tuple[Array | None, Array | None] = (None, None)


@dataclass(frozen=True, slots=True)
class ColumnUncertainty:
    """Column -> one standard uncertainty in the column's unit.

    lasting: its part that all swings of one calibration share and another calibration draws anew:
    what the mean of a block does not lower and a comparison of two blocks must allow for.
    """

    total: dict[str, float]
    lasting: dict[str, float]


def column_uncertainty(swing: SwingReading) -> ColumnUncertainty:
    """Uncertainties of every number that a swing has."""
    kept = cause_effects(swing)
    table = np.array(list(kept.values())).reshape(-1, TOTAL)
    squares = table * table
    total, shared = np.sqrt(squares.sum(axis=1)), np.sqrt(squares[:, _LASTING].sum(axis=1))
    return ColumnUncertainty(
        dict(zip(kept, total.tolist(), strict=True)), dict(zip(kept, shared.tolist(), strict=True))
    )


def cause_effects(swing: SwingReading) -> dict[str, Array]:
    """Column -> what one standard uncertainty of each independent cause adds to it, (TOTAL,).

    For the columns that the swing has a number in. Causes: `analysis.error_causes`.
    """
    effects = _SwingEffects(swing).columns()
    return {
        name: row for name, row in effects.items() if isinstance(swing.metrics.get(name), float)
    }


def _effects(swing: SwingReading, grid: Array) -> MomentEffects:
    moments, curves = swing.moments, [path.rates.axial for path in swing.paths]
    return MomentEffects(
        swing.motions,
        swing.paths,
        [
            moments.address_s,
            moments.takeaway_s,
            moments.pelvis.reversal_s,
            moments.top_s,
            moments.pelvis.peak_s,
            moments.upper_back.peak_s,
            swing.apart.closing_peak_s,
            power_peak_s(curves[0], moments.pelvis),
            power_peak_s(curves[1], moments.upper_back),
            moments.impact.time_s,
        ],
        grid,
        np.array([_mixing(number, swing) for number in (0, 1)]),
    )


def _mixing(number: int, swing: SwingReading) -> Array:
    return mixing(
        number,
        swing.motions[number],
        swing.clock_u_s[number],
        calibrated=swing.calibrated,
        scale_u=swing.scale_u[number],
    )


class _SwingEffects:
    """Effects of every cause on every column of one swing, in the columns' units."""

    def __init__(self, swing: SwingReading) -> None:
        self.swing, self.moments, self.apart = swing, swing.moments, swing.apart
        self.effects = _effects(swing, _coarse(self.apart.searched[0]))
        self.turns = self.effects.turns
        self.hips, self.shoulders = (
            SegmentReading(
                number,
                swing.paths[number].rates.axial,
                (self.moments.pelvis, self.moments.upper_back)[number],
                effects=self.effects,
                noise_density=swing.motions[number].noise_density,
            )
            for number in (0, 1)
        )
        self.found: Effects = {}

    def columns(self) -> Effects:
        """Column -> effects (TOTAL,)."""
        self._times()
        self._postures()
        self._separations()
        self._joint()
        self._durations()
        for segment, reading in zip(Segment, (self.hips, self.shoulders), strict=True):
            self._speeds(segment.value, reading)
            self._power(segment.value, reading)
        self._ratios()
        return self.found

    def _value(self, name: str) -> float:
        value = self.swing.metrics[name]
        return float(value) if isinstance(value, float) else np.nan

    def _times(self) -> None:
        moments, found = self.moments, self.found
        found["address_s"] = _unit(ADDRESS, ADDRESS_U_S)
        _, slope, _ = self.shoulders.curve.at(moments.takeaway_s)
        away = min(slope, -ONSET_RATE / SLOPE_WITHIN_S)
        found["takeaway_s"] = self.shoulders.onset(Moment.TAKEAWAY, away)
        found["takeaway_s"] += _unit(TAKEAWAY, TAKEAWAY_U_S)
        found["pelvis_reversal_s"] = self.hips.reversal()
        found["top_s"] = self.shoulders.reversal()
        found["pelvis_peak_s"] = self.hips.peak_time()
        found["upper_back_peak_s"] = self.shoulders.peak_time()
        found["impact_s"] = _unit(IMPACT, moments.impact.time_u_s)
        found["impact_s"] += self.shoulders.late(Moment.IMPACT)

    def _postures(self) -> None:
        """Turn, obliquity and tilt at the top: what they miss by there, and what the top does."""
        top, address = self.found["top_s"], self.found["address_s"]
        late = self.turns.at_top + self.turns.top_rates[..., None] * top
        # a wrong end of the address adds the same turn at all times
        late[:, 0] -= self.turns.address_rates[:, None] * address
        for segment, rows in zip(Segment, np.degrees(late), strict=True):
            for name, row in zip(("turn", "obliquity", "forward_tilt"), rows, strict=True):
                self.found[f"{segment.value}_{name}_top_deg"] = row

    def _separations(self) -> None:
        found = self.found
        found["separation_top_deg"] = (
            found["pelvis_turn_top_deg"] - found["upper_back_turn_top_deg"]
        )
        hips, shoulders = self.turns.address_rates.tolist()
        effects = self.turns.turn[0] - self.turns.turn[1]
        effects -= (hips - shoulders) * found["address_s"]
        greatest = greatest_effects(self._searched(self.apart.searched[1], effects))
        self._greatest("separation", greatest)
        found["separation_max_s"] = greatest.time + _unit(RIVAL_TIME, greatest.rival_u_s)
        self._closing()

    def _greatest(self, name: str, greatest: GreatestEffects) -> None:
        """The greatest of a separation, and what it gained on the value at the top."""
        found, rival = self.found, _unit(RIVAL[name], np.degrees(greatest.rival_u))
        value = np.degrees(greatest.value)
        found[f"{name}_max_deg"] = value
        found[f"{name}_gain_deg"] = value - found[f"{name}_top_deg"] + rival

    def _searched(self, values: Array, effects: Array) -> SearchedCurve:
        """A curve over the search for the greatest separation; effects on a coarse grid."""
        found, moments = self.found, self.moments
        pelvis_first = moments.pelvis.reversal_s < moments.top_s
        first = found["pelvis_reversal_s" if pelvis_first else "top_s"]
        ends = (first, found["upper_back_peak_s"])
        return SearchedCurve(self.apart.searched[0], values, effects, ends)

    def _closing(self) -> None:
        found, turns = self.found, self.turns
        closing = turns.turn_rate[1] - turns.turn_rate[0] + self.shoulders.noise()
        if self.moments.upper_back.peak_s - self.apart.closing_peak_s < EDGE_S:
            closing += turns.closing_slope * found["upper_back_peak_s"]
        found["separation_closing_peak_dps"] = np.degrees(closing)

    def _joint(self) -> None:
        found, joint = self.found, self.turns.joint
        effects = joint.effects(_unit(SQUARE, SQUARE_U))
        effects -= joint.rates[0] * found["address_s"]
        top = effects[0] + joint.rates[1] * found["top_s"]
        found["joint_separation_top_deg"] = np.degrees(top)
        greatest = greatest_effects(self._searched(self.apart.searched[2], effects[1:]))
        self._greatest("joint_separation", greatest)

    def _durations(self) -> None:
        found = self.found
        found["transition_lead_ms"] = 1e3 * (found["top_s"] - found["pelvis_reversal_s"])
        found["peak_gap_ms"] = 1e3 * (found["upper_back_peak_s"] - found["pelvis_peak_s"])
        found["backswing_s"] = found["top_s"] - found["takeaway_s"]
        found["downswing_s"] = found["impact_s"] - found["top_s"]

    def _speeds(self, name: str, reading: SegmentReading) -> None:
        found, peak_time = self.found, self.found[f"{name}_peak_s"]
        reversal = found["pelvis_reversal_s" if name == "pelvis" else "top_s"]
        peak, runway = reading.peak(), reading.runway(peak_time)
        found[f"{name}_peak_dps"] = np.degrees(peak)
        found[f"{name}_runway_deg"] = np.degrees(runway)
        found[f"{name}_runway_s"] = peak_time - reversal
        share = 2.0 * peak / reading.down.peak - runway / np.radians(
            self._value(f"{name}_runway_deg")
        )
        found[f"{name}_mean_rate_dps2"] = self._value(f"{name}_mean_rate_dps2") * share
        if name == "upper_back":
            for column in ("runway_deg", "runway_s", "mean_rate_dps2"):
                found[column] = found[f"{name}_{column}"]

    def _power(self, name: str, reading: SegmentReading) -> None:
        power = self._value(f"{name}_peak_power_w")
        if not power > 0.0:
            return
        at = (Moment.PELVIS_POWER, Moment.UPPER_BACK_POWER)[reading.number]
        speed, slope, _ = reading.curve.at(self.effects.time_s(at))
        share = (reading.axial(at) + reading.noise()) / speed
        share = share + (reading.axial_slope(at) + reading.noise(order=1)) / slope
        share = share + _unit(INERTIA, INERTIA_U)
        for column in ("peak_power_w", "peak_power_w_per_kg"):
            self.found[f"{name}_{column}"] = self._value(f"{name}_{column}") * share

    def _ratios(self) -> None:
        found = self.found
        for name, above, below in (
            ("speed_gain", "upper_back_peak_dps", "pelvis_peak_dps"),
            ("tempo", "backswing_s", "downswing_s"),
            ("separation_gain_pct", "separation_gain_deg", "separation_top_deg"),
        ):
            if not isinstance(self.swing.metrics[name], float):
                continue  # what it is a share of may be nothing
            under = self._value(below)
            scale = 100.0 if name == "separation_gain_pct" else 1.0
            by_below = self._value(name) / under * found[below]
            found[name] = scale * found[above] / under - by_below


def _coarse(times: Array) -> Array:
    """Fewer times over the same stretch, for effects."""
    return np.linspace(times[0], times[-1], max(int((times[-1] - times[0]) / COARSE_S), 2) + 1)


def _unit(cause: int, size: float) -> Array:
    row = np.zeros(TOTAL)
    row[cause] = size
    return row
