"""The numbers of a swing from its two paths and its moments. Definitions: analysis.columns."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.events import AxialCurve, Downswing
from analysis.impact import Impact
from analysis.kinematics import Postures
from analysis.power import axial_inertia, peak_power
from analysis.results import GolferFacts
from analysis.samples import Array, Segment

Metrics = dict[str, float | str | None]

SEARCH_STEP_S = 0.001
"""Step of the search for the greatest separation and the fastest closing."""
LEAST_TOP_FOR_SHARE = np.radians(2.0)
"""rad; a gain is not told as a share of a smaller separation at the top."""


@dataclass(frozen=True, slots=True)
class SwingMoments:
    """When things happen in a swing, s of session time, and both segments' downswings.

    moved_s: how long before the takeaway both segments were last quiet; infinite where they never
    were within reach, and the address is then taken at the takeaway.
    """

    address_s: float
    takeaway_s: float
    moved_s: float
    pelvis: Downswing
    upper_back: Downswing
    impact: Impact

    @property
    def top_s(self) -> float:
        """The upper back's reversal."""
        return self.upper_back.reversal_s


@dataclass(frozen=True, slots=True)
class PostureAtTop:
    """Angles of a segment at the top, rad, in the golfer's signs."""

    turn: float
    obliquity: float
    tilt: float


@dataclass(frozen=True, slots=True)
class Separation:
    """Separation of both kinds, rad, how fast it closes, rad/s, and both postures at the top.

    Times of the greatest of each and of the fastest closing, s. searched: times (n,) s and
    separation of both kinds, rad, at them.
    """

    top: float
    greatest: float
    greatest_s: float
    joint_top: float
    joint_greatest: float
    joint_greatest_s: float
    closing_peak: float
    closing_peak_s: float
    at_top: tuple[PostureAtTop, PostureAtTop]
    searched: tuple[Array, Array, Array]


def search_times(moments: SwingMoments) -> Array:
    """Times, s, at which `separation` wants the postures: evenly spaced from the earlier reversal
    to the last peak, then the top and the address."""
    start_s = min(moments.pelvis.reversal_s, moments.top_s)
    end_s = moments.upper_back.peak_s
    steps = max(2, int(np.ceil((end_s - start_s) / SEARCH_STEP_S)) + 1)
    return np.append(np.linspace(start_s, end_s, steps), (moments.top_s, moments.address_s))


def separation(postures: Postures) -> Separation:
    """Separation at the top, and its greatest between the earlier reversal and the last peak, from
    postures at `search_times`."""
    times, turn, turn_rate = postures.times, postures.turn, postures.turn_rate()
    apart, closing = turn[0] - turn[1], turn_rate[1] - turn_rate[0]
    joint = postures.joint - postures.joint[-1]
    greatest, joint_greatest, fastest = (
        int(curve[:-2].argmax()) for curve in (apart, joint, closing)
    )
    at_top = [PostureAtTop(*angles) for angles in postures.angles(-2).tolist()]
    return Separation(
        float(apart[-2]),
        float(apart[greatest]),
        float(times[greatest]),
        float(joint[-2]),
        float(joint[joint_greatest]),
        float(times[joint_greatest]),
        float(closing[fastest]),
        float(times[fastest]),
        (at_top[0], at_top[1]),
        (times[:-2], apart[:-2], joint[:-2]),
    )


def swing_events(moments: SwingMoments, apart: Separation) -> dict[str, float]:
    """Name -> session time, s."""
    return {
        "address_s": moments.address_s,
        "takeaway_s": moments.takeaway_s,
        "pelvis_reversal_s": moments.pelvis.reversal_s,
        "upper_back_reversal_s": moments.top_s,
        "top_s": moments.top_s,
        "separation_max_s": apart.greatest_s,
        "pelvis_peak_s": moments.pelvis.peak_s,
        "upper_back_peak_s": moments.upper_back.peak_s,
        "impact_s": moments.impact.time_s,
    }


def swing_metrics(
    curves: tuple[AxialCurve, AxialCurve],
    moments: SwingMoments,
    apart: Separation,
    golfer: GolferFacts,
) -> Metrics:
    """Every column but the swing's number and its quality."""
    events = swing_events(moments, apart)
    del events["upper_back_reversal_s"]
    metrics: Metrics = {**events}
    metrics |= _separation_columns(apart) | _sequence_columns(moments)
    for segment, curve, down, posture in zip(
        Segment, curves, (moments.pelvis, moments.upper_back), apart.at_top, strict=True
    ):
        name, inertia = segment.value, axial_inertia(segment, golfer)
        metrics |= _posture_columns(name, posture)
        metrics |= _runway_columns(name, curve, down)
        metrics |= _power_columns(name, curve, down, inertia, golfer.mass_kg)
    shown = ("runway_deg", "runway_s", "mean_rate_dps2")
    return metrics | {column: metrics[f"upper_back_{column}"] for column in shown}


def _separation_columns(apart: Separation) -> Metrics:
    gain = apart.greatest - apart.top
    share = 100.0 * gain / apart.top if apart.top >= LEAST_TOP_FOR_SHARE else None
    return {
        "separation_top_deg": _degrees(apart.top),
        "separation_max_deg": _degrees(apart.greatest),
        "separation_gain_deg": _degrees(gain),
        "separation_gain_pct": share,
        "joint_separation_top_deg": _degrees(apart.joint_top),
        "joint_separation_max_deg": _degrees(apart.joint_greatest),
        "joint_separation_gain_deg": _degrees(apart.joint_greatest - apart.joint_top),
        "separation_closing_peak_dps": _degrees(apart.closing_peak),
    }


def _sequence_columns(moments: SwingMoments) -> Metrics:
    pelvis, upper_back = moments.pelvis, moments.upper_back
    backswing_s = moments.top_s - moments.takeaway_s
    downswing_s = moments.impact.time_s - moments.top_s
    return {
        "transition_lead_ms": 1000.0 * (moments.top_s - pelvis.reversal_s),
        "pelvis_peak_dps": _degrees(pelvis.peak),
        "upper_back_peak_dps": _degrees(upper_back.peak),
        "peak_gap_ms": 1000.0 * (upper_back.peak_s - pelvis.peak_s),
        "peak_order": "pelvis" if pelvis.peak_s <= upper_back.peak_s else "upper back",
        "speed_gain": upper_back.peak / pelvis.peak,
        "backswing_s": backswing_s,
        "downswing_s": downswing_s,
        "tempo": backswing_s / downswing_s if downswing_s > 0.0 else None,
        "impact_method": moments.impact.method,
    }


def _posture_columns(name: str, posture: PostureAtTop) -> Metrics:
    return {
        f"{name}_turn_top_deg": _degrees(posture.turn),
        f"{name}_obliquity_top_deg": _degrees(posture.obliquity),
        f"{name}_forward_tilt_top_deg": _degrees(posture.tilt),
    }


def _runway_columns(name: str, curve: AxialCurve, down: Downswing) -> Metrics:
    runway = curve.angle(down.reversal_s, down.peak_s)
    rate = down.peak**2 / (2.0 * runway) if runway > 0.0 else None
    return {
        f"{name}_runway_deg": _degrees(runway),
        f"{name}_runway_s": down.peak_s - down.reversal_s,
        f"{name}_mean_rate_dps2": None if rate is None else _degrees(rate),
    }


def _power_columns(
    name: str, curve: AxialCurve, down: Downswing, inertia: float | None, mass_kg: float | None
) -> Metrics:
    if inertia is None or mass_kg is None:
        return {f"{name}_peak_power_w": None, f"{name}_peak_power_w_per_kg": None}
    power_w = peak_power(curve, inertia, down.reversal_s, down.peak_s)
    return {f"{name}_peak_power_w": power_w, f"{name}_peak_power_w_per_kg": power_w / mass_kg}


def _degrees(angle_rad: float) -> float:
    return math.degrees(angle_rad)
