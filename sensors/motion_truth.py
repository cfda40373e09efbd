"""What is true of a simulated swing, read off its noise-free motion at dense sampling.

Independent of the analysis: its own event search on exact angular velocities, no filter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.integrate import cumulative_trapezoid

from sensors.body_motion import BodyMotion
from sensors.smooth_path import Array
from sensors.wire import SegmentName

TRUTH_RATE_HZ = 4000.0
"""Sampling of the truth; crossings and peaks are interpolated within a sample."""
TAKEAWAY_DPS = 7.0
"""Takeaway: the upper back's axial velocity away from the target rises past this, for good."""
QUIET_DPS = 5.0
"""Address: the last moment before the takeaway with both segments slower than this."""
PEAK_SEARCH_S = 0.6
"""Peaks are sought this long after the top: past impact, where the upper back may still gain."""


@dataclass(frozen=True, slots=True)
class SwingTruth:
    """One swing as it really was. Same names, units and signs as the metrics columns.

    start_s, end_s: takeaway movement to finish. events: name -> session time, s.
    """

    number: int
    start_s: float
    end_s: float
    events: dict[str, float]
    metrics: dict[str, float]


class SegmentCurves(NamedTuple):
    """A segment at n instants in the golfer's signs: rad and rad/s, positive toward the target.

    turn, obliquity, tilt: Cardan Y-X-Z of the segment in the world (tilt positive forward).
    """

    orientation: Array
    turn: Array
    obliquity: Array
    tilt: Array
    velocity: Array
    speed: Array


def segment_curves(motion: BodyMotion, segment: SegmentName, time_s: Array) -> SegmentCurves:
    """Turn and axial velocity of a segment at time_s (n,)."""
    state = motion.segment(segment, time_s)
    w, x, y, z = state.orientation.T
    sign = motion.target_sign
    # Ry Rx Rz: its third column is (sin y cos x, -sin x, cos y cos x), its second row gives z.
    turn = np.unwrap(np.arctan2(2.0 * (x * z + w * y), 1.0 - 2.0 * (x * x + y * y)))
    obliquity = np.arcsin(np.clip(2.0 * (w * x - y * z), -1.0, 1.0))
    third = np.arctan2(2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z))
    return SegmentCurves(
        state.orientation,
        sign * turn,
        sign * obliquity,
        -third,
        sign * state.angular_velocity[:, 1],
        np.linalg.norm(state.angular_velocity, axis=1),
    )


def joint_axial_angle(pelvis: SegmentCurves, upper_back: SegmentCurves, sign: float) -> Array:
    """Axial angle of the upper back in the pelvis, Cardan Z-X-Y, rad, positive toward target."""
    pw, px, py, pz = (pelvis.orientation * (1.0, -1.0, -1.0, -1.0)).T
    uw, ux, uy, uz = upper_back.orientation.T
    w = pw * uw - px * ux - py * uy - pz * uz
    x = pw * ux + px * uw + py * uz - pz * uy
    y = pw * uy - px * uz + py * uw + pz * ux
    z = pw * uz + px * uy - py * ux + pz * uw
    # Rz Rx Ry: its third row is (-cos x sin y, sin x, cos x cos y).
    axial = np.arctan2(-2.0 * (x * z - w * y), 1.0 - 2.0 * (x * x + y * y))
    return sign * np.asarray(np.unwrap(axial))


def swing_truth(
    motion: BodyMotion, number: int, start_s: float, end_s: float, impact_s: float
) -> SwingTruth:
    """Truth of the swing whose movement lies in start_s..end_s, with at least 0.5 s of rest before.

    Raises ValueError where the motion holds no swing there.
    """
    time_s = start_s - 0.5 + np.arange(int((end_s - start_s + 0.5) * TRUTH_RATE_HZ)) / TRUTH_RATE_HZ
    pelvis = segment_curves(motion, "pelvis", time_s)
    upper = segment_curves(motion, "upper_back", time_s)
    top_s, peak_s, peak = _downswing(time_s, upper.velocity, end_s)
    pelvis_top_s, pelvis_peak_s, pelvis_peak = _downswing(
        time_s, pelvis.velocity, top_s + PEAK_SEARCH_S
    )
    takeaway_s = _last_rise(time_s, -upper.velocity, np.radians(TAKEAWAY_DPS), top_s)
    quiet = (np.maximum(pelvis.speed, upper.speed) < np.radians(QUIET_DPS)) & (time_s < takeaway_s)
    address_s = float(time_s[quiet][-1])
    joint = joint_axial_angle(pelvis, upper, motion.target_sign)
    curves = _Zeroed(time_s, address_s, pelvis, upper, joint)
    events = {
        "address_s": address_s,
        "takeaway_s": takeaway_s,
        "pelvis_reversal_s": pelvis_top_s,
        "upper_back_reversal_s": top_s,
        "top_s": top_s,
        "pelvis_peak_s": pelvis_peak_s,
        "upper_back_peak_s": peak_s,
        "impact_s": impact_s,
    }
    speeds = {"pelvis_peak_dps": pelvis_peak, "upper_back_peak_dps": peak}
    metrics = curves.at_top(events) | curves.separation(events) | _timing(events)
    metrics |= speeds | curves.runways(events, speeds)
    metrics["speed_gain"] = peak / pelvis_peak
    events["separation_max_s"] = metrics.pop("separation_max_s")
    return SwingTruth(number, start_s, end_s, events, metrics)


def _downswing(time_s: Array, velocity: Array, until_s: float) -> tuple[float, float, float]:
    """Reversal, time of the peak and peak in deg/s of a segment's downswing."""
    searched = np.where(time_s <= until_s, velocity, -np.inf)
    k = int(np.clip(np.argmax(searched), 1, len(velocity) - 2))
    before, at, after = velocity[k - 1 : k + 2]
    offset = 0.5 * (before - after) / (before - 2.0 * at + after)
    peak = at - 0.25 * (before - after) * offset
    crossing = np.flatnonzero((velocity[:k] < 0.0) & (velocity[1 : k + 1] >= 0.0))
    if not crossing.size:
        raise ValueError("no reversal before the downswing's peak: this motion holds no swing")
    c = int(crossing[-1])
    share = velocity[c] / (velocity[c] - velocity[c + 1])
    step_s = time_s[1] - time_s[0]
    return (
        float(time_s[c] + share * step_s),
        float(time_s[k] + offset * step_s),
        float(np.degrees(peak)),
    )


def _last_rise(time_s: Array, value: Array, threshold: float, before_s: float) -> float:
    """Time of the rise past a threshold that begins the last long stretch above it."""
    before = time_s < before_s
    above = np.flatnonzero(before & (value > threshold))
    start = above[-1] - np.argmax(np.diff(above[::-1], append=-2) < -1)
    share = (threshold - value[start - 1]) / (value[start] - value[start - 1])
    return float(time_s[start - 1] + share * (time_s[start] - time_s[start - 1]))


def _timing(events: dict[str, float]) -> dict[str, float]:
    backswing_s = events["top_s"] - events["takeaway_s"]
    downswing_s = events["impact_s"] - events["top_s"]
    return {
        "transition_lead_ms": 1e3 * (events["top_s"] - events["pelvis_reversal_s"]),
        "peak_gap_ms": 1e3 * (events["upper_back_peak_s"] - events["pelvis_peak_s"]),
        "backswing_s": backswing_s,
        "downswing_s": downswing_s,
        "tempo": backswing_s / downswing_s,
    }


class _Zeroed:
    """Both segments' angles in degrees, turns relative to address."""

    def __init__(
        self,
        time_s: Array,
        address_s: float,
        pelvis: SegmentCurves,
        upper: SegmentCurves,
        joint: Array,
    ) -> None:
        self.time_s = time_s
        self.segments = {"pelvis": pelvis, "upper_back": upper}
        self.turn = {
            name: np.degrees(curves.turn - np.interp(address_s, time_s, curves.turn))
            for name, curves in self.segments.items()
        }
        self.apart = self.turn["pelvis"] - self.turn["upper_back"]
        self.joint = -np.degrees(joint - np.interp(address_s, time_s, joint))

    def _at(self, at_s: float, values: Array) -> float:
        return float(np.interp(at_s, self.time_s, values))

    def at_top(self, events: dict[str, float]) -> dict[str, float]:
        """Posture at the top: turns, obliquity and forward tilt."""
        top_s = events["top_s"]
        metrics = {}
        for name, curves in self.segments.items():
            metrics[f"{name}_turn_top_deg"] = self._at(top_s, self.turn[name])
            metrics[f"{name}_obliquity_top_deg"] = self._at(top_s, np.degrees(curves.obliquity))
            metrics[f"{name}_forward_tilt_top_deg"] = self._at(top_s, np.degrees(curves.tilt))
        return metrics

    def separation(self, events: dict[str, float]) -> dict[str, float]:
        """Separation and joint separation at the top and at their greatest."""
        top_s, peak_s = events["top_s"], events["upper_back_peak_s"]
        first_s = min(top_s, events["pelvis_reversal_s"])
        inside = (self.time_s >= first_s) & (self.time_s <= peak_s)
        metrics = {}
        for name, apart in (("separation", self.apart), ("joint_separation", self.joint)):
            at_top = self._at(top_s, apart)
            most = max(at_top, float(apart[inside].max()))
            metrics[f"{name}_top_deg"] = at_top
            metrics[f"{name}_max_deg"] = most
            metrics[f"{name}_gain_deg"] = most - at_top
        metrics["separation_gain_pct"] = (
            100.0 * metrics["separation_gain_deg"] / metrics["separation_top_deg"]
        )
        metrics["separation_max_s"] = float(self.time_s[inside][np.argmax(self.apart[inside])])
        closing = -np.gradient(self.apart, self.time_s)
        after = inside & (self.time_s >= metrics["separation_max_s"])
        metrics["separation_closing_peak_dps"] = float(closing[after].max())
        return metrics

    def runways(self, events: dict[str, float], speeds: dict[str, float]) -> dict[str, float]:
        """Angle about the long axis, time and mean acceleration from each reversal to the peak."""
        metrics = {}
        for name, curves in self.segments.items():
            start_s, end_s = events[f"{name}_reversal_s"], events[f"{name}_peak_s"]
            turned = np.degrees(cumulative_trapezoid(curves.velocity, self.time_s, initial=0))
            angle = self._at(end_s, turned) - self._at(start_s, turned)
            metrics[f"{name}_runway_deg"] = angle
            metrics[f"{name}_runway_s"] = end_s - start_s
            metrics[f"{name}_mean_rate_dps2"] = speeds[f"{name}_peak_dps"] ** 2 / (2.0 * angle)
        for column in ("runway_deg", "runway_s", "mean_rate_dps2"):
            metrics[column] = metrics[f"upper_back_{column}"]
        return metrics
