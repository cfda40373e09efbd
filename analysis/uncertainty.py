"""One standard uncertainty for every number of a swing (GUM, JCGM 100:2008, 5.1 and 5.2).

Each number is followed as the row of what every independent cause adds to it, so that numbers made
of others (a separation, a ratio) carry the correlations of their parts without more ado:
    u^2(y) = sum over causes of (dy/dx u(x))^2.
A curve late or high by d at an event moves the event by -d / slope: for a reversal, -dv / a with a
the angular acceleration, which is small where a segment dwells; for a peak, -dv' / v''.
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
    NOISE,
    SQUARE,
    SQUARE_U,
    TAKEAWAY,
    TAKEAWAY_U_S,
    TOTAL,
    Mixing,
    lasting,
    mixing,
)
from analysis.events import ONSET_RATE, SLOPE_WITHIN_S, AxialCurve, Downswing
from analysis.filtering import CUTOFF_HZ
from analysis.joint_effects import joint_effects, joint_rates
from analysis.kinematics import SegmentPath
from analysis.metrics import Metrics, Separation, SwingMoments
from analysis.orientation import SegmentMotion
from analysis.results import Interval
from analysis.samples import Array, Segment
from analysis.segment_effects import SLOPE_S, SegmentEffects, segment_effects

Effects = dict[str, Array]

AFTER_S = 0.05
"""Curves of effects run so far past the last event."""
EDGE_S = 0.002
"""The greatest of a curve so near to an end of its search is moved by that end."""
_LASTING = lasting()


@dataclass(frozen=True, slots=True)
class SwingReading:
    """All that a swing's numbers were read from. Pairs: pelvis, upper back.

    clock_u_s: of each sensor's clock in session time, s.
    """

    motions: tuple[SegmentMotion, SegmentMotion]
    paths: tuple[SegmentPath, SegmentPath]
    moments: SwingMoments
    apart: Separation
    metrics: Metrics
    clock_u_s: tuple[float, float]
    calibrated: bool


@dataclass(frozen=True, slots=True)
class ColumnUncertainty:
    """Column -> one standard uncertainty in the column's unit.

    lasting: its part that all swings of one calibration share, which their mean does not lower.
    """

    total: dict[str, float]
    lasting: dict[str, float]


def column_uncertainty(swing: SwingReading) -> ColumnUncertainty:
    """Uncertainties of every number that a swing has."""
    effects = _SwingEffects(swing).columns()
    kept = {
        name: row for name, row in effects.items() if isinstance(swing.metrics.get(name), float)
    }
    table = np.array(list(kept.values())).reshape(-1, TOTAL)
    squares = table * table
    total, shared = np.sqrt(squares.sum(axis=1)), np.sqrt(squares[:, _LASTING].sum(axis=1))
    return ColumnUncertainty(
        dict(zip(kept, total.tolist(), strict=True)), dict(zip(kept, shared.tolist(), strict=True))
    )


class _SegmentReading:
    """One segment's curves, what causes do to them, and its downswing."""

    def __init__(self, number: int, swing: SwingReading, within: Interval) -> None:
        motion, path = swing.motions[number], swing.paths[number]
        self.down: Downswing = (swing.moments.pelvis, swing.moments.upper_back)[number]
        self.path, self.curve = path, path.rates.axial
        self.effects: SegmentEffects = segment_effects(motion, path, within)
        self.mixed: Mixing = mixing(
            number, motion, swing.clock_u_s[number], calibrated=swing.calibrated
        )
        self._noise, self._next = motion.noise_density, NOISE + 8 * number

    def noise(self, *, order: int = 0) -> Array:
        """A cause of its own: white noise that the filter lets through, of the axial velocity
        (order 0), of its slope (order 1)."""
        row = np.zeros(TOTAL)
        band = (2.0 * np.pi * CUTOFF_HZ) ** order * np.sqrt(CUTOFF_HZ / (2.0 * order + 1.0))
        row[self._next] = self._noise * band
        self._next += 1
        return row

    def axial(self, time_s: float) -> Array:
        """Effects (TOTAL,) on the axial velocity at a time, rad/s."""
        return self.mixed(self.effects.at(self.effects.axial, time_s))

    def axial_slope(self, time_s: float) -> Array:
        """And on its slope, rad/s^2."""
        return self.mixed(self.effects.slope(self.effects.axial, time_s))

    def crossing(self, time_s: float, slope: float) -> Array:
        """Effects on when the velocity passes a value that it passes at `time_s`, s."""
        return -(self.axial(time_s) + self.noise()) / slope

    def reversal(self) -> Array:
        """Effects on the time of the reversal, s."""
        return self.crossing(self.down.reversal_s, max(self.down.reversal_slope, 1e-3))

    def peak_time(self) -> Array:
        """Effects on the time of the peak speed, s."""
        at = self.down.peak_s
        return -(self.axial_slope(at) + self.noise(order=1)) / _bend(self.curve, at)

    def peak(self) -> Array:
        """Effects on the peak speed, rad/s."""
        return self.axial(self.down.peak_s) + self.noise()

    def runway(self, peak_time: Array) -> Array:
        """Effects on the angle from the reversal to the peak, rad."""
        effects = self.effects
        turned = effects.at(effects.angle, self.down.peak_s)
        turned -= effects.at(effects.angle, self.down.reversal_s)
        return self.mixed(turned) + self.down.peak * peak_time

    def posture(self, time_s: float) -> Array:
        """Effects (3, TOTAL) on turn, obliquity and forward tilt at a fixed time, rad."""
        return self.mixed(self.effects.posture(time_s))

    def turn_rate(self, time_s: float) -> Array:
        """Effects on the rate of turn, rad/s."""
        return self.mixed(self.effects.slope(self.effects.turn, time_s))


class _SwingEffects:
    """Effects of every cause on every column of one swing, in the columns' units."""

    def __init__(self, swing: SwingReading) -> None:
        self.swing, self.moments, self.apart = swing, swing.moments, swing.apart
        last_s = max(self.moments.upper_back.peak_s, self.moments.pelvis.peak_s)
        within = Interval(self.moments.address_s, last_s + AFTER_S)
        self.hips, self.shoulders = (_SegmentReading(k, swing, within) for k in (0, 1))
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
        slope = float(self.shoulders.curve.spline(moments.takeaway_s, 1))
        away = min(slope, -ONSET_RATE / SLOPE_WITHIN_S)
        found["takeaway_s"] = self.shoulders.crossing(moments.takeaway_s, away)
        found["takeaway_s"] += _unit(TAKEAWAY, TAKEAWAY_U_S)
        found["pelvis_reversal_s"] = self.hips.reversal()
        found["top_s"] = self.shoulders.reversal()
        found["pelvis_peak_s"] = self.hips.peak_time()
        found["upper_back_peak_s"] = self.shoulders.peak_time()
        found["impact_s"] = _unit(IMPACT, moments.impact.time_u_s)

    def _postures(self) -> None:
        """Turn, obliquity and tilt at the top: what they miss by there, and what the top does."""
        top_s, top = self.moments.top_s, self.found["top_s"]
        names = ("turn", "obliquity", "forward_tilt")
        at = np.array([top_s - SLOPE_S, top_s + SLOPE_S, self.moments.address_s])
        for segment, reading in zip(Segment, (self.hips, self.shoulders), strict=True):
            posture = reading.path.at(at)
            effects = reading.posture(top_s)
            for row, name, curve in zip(
                effects, names, (posture.turn, posture.obliquity, posture.tilt), strict=True
            ):
                moving = float(curve[1] - curve[0]) / (2.0 * SLOPE_S)
                late = row + moving * top
                if name == "turn":
                    late = late - float(posture.turn_rate[2]) * self.found["address_s"]
                self.found[f"{segment.value}_{name}_top_deg"] = np.degrees(late)

    def _separations(self) -> None:
        apart, found = self.apart, self.found
        found["separation_top_deg"] = (
            found["pelvis_turn_top_deg"] - found["upper_back_turn_top_deg"]
        )
        greatest_s = apart.greatest_s
        here = self.hips.posture(greatest_s)[0] - self.shoulders.posture(greatest_s)[0]
        ends, moved = self._search_end(greatest_s)
        rate, bend = self._opening(greatest_s)
        here = here - self._at_address() * found["address_s"]
        if ends:
            here, found["separation_max_s"] = here + rate * moved, moved
        else:
            opening = self.hips.turn_rate(greatest_s) - self.shoulders.turn_rate(greatest_s)
            found["separation_max_s"] = -(opening + self.hips.noise()) / min(bend, -1e-3)
        found["separation_max_deg"] = np.degrees(here)
        found["separation_gain_deg"] = found["separation_max_deg"] - found["separation_top_deg"]
        at = apart.closing_peak_s
        closing = self.shoulders.turn_rate(at) - self.hips.turn_rate(at) + self.shoulders.noise()
        found["separation_closing_peak_dps"] = np.degrees(closing)

    def _search_end(self, at_s: float) -> tuple[bool, Array]:
        """Whether the greatest lies at an end of its search, and the effects on that end, s."""
        found, moments = self.found, self.moments
        ends = (
            (moments.pelvis.reversal_s, found["pelvis_reversal_s"]),
            (moments.top_s, found["top_s"]),
        )
        first = min(ends, key=lambda end: end[0])
        last = (moments.upper_back.peak_s, found["upper_back_peak_s"])
        near, moved = min((first, last), key=lambda end: abs(end[0] - at_s))
        return abs(near - at_s) < EDGE_S, moved

    def _opening(self, at_s: float) -> tuple[float, float]:
        """How fast separation grows at a time, rad/s, and its bend, rad/s^2."""
        times = at_s + np.array([-SLOPE_S, 0.0, SLOPE_S])
        rate = self.hips.path.at(times).turn_rate - self.shoulders.path.at(times).turn_rate
        return float(rate[1]), float(rate[2] - rate[0]) / (2.0 * SLOPE_S)

    def _at_address(self) -> float:
        at = np.array([self.moments.address_s])
        rates = [r.path.at(at).turn_rate[0] for r in (self.hips, self.shoulders)]
        return float(rates[0] - rates[1])

    def _joint(self) -> None:
        found, apart, moments = self.found, self.apart, self.moments
        times = np.array([moments.address_s, moments.top_s, apart.joint_greatest_s])
        turned = [
            np.stack([reading.mixed(reading.effects.at(reading.effects.turned, t)) for t in times])
            for reading in (self.hips, self.shoulders)
        ]
        heading = _unit(SQUARE, SQUARE_U)
        paths = self.swing.paths
        top, greatest = joint_effects(paths, times, (turned[0], turned[1]), heading)
        moving = joint_rates(paths, times)
        by_address = moving[0] * found["address_s"]
        top = top + moving[1] * found["top_s"] - by_address
        ends, moved = self._search_end(apart.joint_greatest_s)
        greatest = greatest - by_address + (moving[2] * moved if ends else 0.0)
        found["joint_separation_top_deg"] = np.degrees(top)
        found["joint_separation_max_deg"] = np.degrees(greatest)
        found["joint_separation_gain_deg"] = np.degrees(greatest - top)

    def _durations(self) -> None:
        found = self.found
        found["transition_lead_ms"] = 1e3 * (found["top_s"] - found["pelvis_reversal_s"])
        found["peak_gap_ms"] = 1e3 * (found["upper_back_peak_s"] - found["pelvis_peak_s"])
        found["backswing_s"] = found["top_s"] - found["takeaway_s"]
        found["downswing_s"] = found["impact_s"] - found["top_s"]

    def _speeds(self, name: str, reading: _SegmentReading) -> None:
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

    def _power(self, name: str, reading: _SegmentReading) -> None:
        power = self._value(f"{name}_peak_power_w")
        if not power > 0.0:
            return
        at = _power_peak_s(reading.curve, reading.down)
        speed, slope = float(reading.curve.spline(at)), float(reading.curve.spline(at, 1))
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
            under = self._value(below)
            scale = 100.0 if name == "separation_gain_pct" else 1.0
            by_below = self._value(name) / under * found[below]
            found[name] = scale * found[above] / under - by_below


def _unit(cause: int, size: float) -> Array:
    row = np.zeros(TOTAL)
    row[cause] = size
    return row


def _bend(curve: AxialCurve, at_s: float) -> float:
    """Second derivative of the axial velocity around its peak, rad/s^3, below zero."""
    slopes = curve.spline(np.array([at_s - SLOPE_S, at_s + SLOPE_S]), 1)
    return min(float(slopes[1] - slopes[0]) / (2.0 * SLOPE_S), -1.0)


def _power_peak_s(curve: AxialCurve, down: Downswing) -> float:
    """When acceleration times velocity is greatest in a downswing, s."""
    first, last = np.searchsorted(curve.time_s, (down.reversal_s, down.peak_s))
    time_s = curve.time_s[first : max(last, first) + 1]
    power = np.asarray(curve.spline(time_s, 1)) * np.asarray(curve.spline(time_s))
    return float(time_s[np.argmax(power)])
