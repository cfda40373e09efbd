"""The parametric swing: how far, how fast and when pelvis and upper back turn.

Angles in degrees of turn about the segment's own long axis, positive toward the target, from
address. Values of the presets are of our own choosing, near published ranges; common practice
where no source is named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sensors.movement_score import MovementScore
from sensors.smooth_path import Knot
from sensors.wire import SEGMENTS, SegmentName

_START_BEND = 2.0
"""Curvature of the speed at the reversal, in units of its slope there over the rise time."""
_PEAK_BEND = 3.0
"""Downward curvature of the speed at its peak, in units of peak speed over rise time squared."""
_BACK_RISE, _BACK_BRAKE = 0.5, 0.75
"""Backswing: mean over greatest speed in its first half, from rest, and in its second."""
_FALL = 2.3
"""Time of the fall from peak speed to rest, in units of its angle over the peak speed."""


@dataclass(frozen=True, slots=True)
class TurnShape:
    """One segment's turn: back, reversal, rise to the peak speed, follow-through.

    back_deg: turn at the reversal, as a positive number. rise_s: reversal to peak. fullness: mean
    speed of the rise over its peak, 0.5 to 0.6. finish_deg: turn at the finish. reversal_slope:
    angular acceleration at the reversal over the mean of the rise; small: the segment dwells.
    """

    back_deg: float
    peak_dps: float
    rise_s: float
    finish_deg: float
    fullness: float = 0.55
    reversal_slope: float = 0.8

    @property
    def runway_deg(self) -> float:
        """Angle from the reversal to the peak speed."""
        return self.fullness * self.peak_dps * self.rise_s

    def scaled(self, turn: float, speed: float) -> TurnShape:
        """The same shape with its angles and its speeds multiplied."""
        return replace(
            self,
            back_deg=self.back_deg * turn,
            finish_deg=self.finish_deg * turn,
            peak_dps=self.peak_dps * speed,
            rise_s=self.rise_s * turn / speed,
        )

    def write(self, score: MovementScore, name: str, begin_s: float, reversal_s: float) -> float:
        """Knots of the turn on coordinate `name`; returns the time of its end, s."""
        at_address = score.value(name)
        score.rest(name, begin_s)
        reversal = at_address - self.back_deg
        half_s = 0.5 * (reversal_s - begin_s)
        back_dps = self.back_deg / (half_s * (_BACK_RISE + _BACK_BRAKE))
        halfway = at_address - _BACK_RISE * back_dps * half_s
        score.knot(name, Knot(begin_s + half_s, halfway, -back_dps, 0.0, back_dps / half_s**2))
        slope = self.reversal_slope * self.peak_dps / self.rise_s
        score.knot(name, Knot(reversal_s, reversal, 0.0, slope, _START_BEND * slope / self.rise_s))
        peak_s, at_peak = reversal_s + self.rise_s, reversal + self.runway_deg
        bend = -_PEAK_BEND * self.peak_dps / self.rise_s**2
        score.knot(name, Knot(peak_s, at_peak, self.peak_dps, 0.0, bend))
        finish = at_address + self.finish_deg
        end_s = peak_s + _FALL * (finish - at_peak) / self.peak_dps
        score.knot(name, Knot(end_s, finish))
        return end_s


@dataclass(frozen=True, slots=True)
class Lean:
    """Tilt forward and bend away from the target of a segment, degrees, at four moments."""

    tilt: tuple[float, float, float, float]
    bend: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class SwingShape:
    """A whole swing. Times s, angles deg, shifts m.

    lead_s: upper back's reversal minus the pelvis's. pelvis_delay_s: how much later the pelvis
    starts away. downswing_s: upper back's reversal to impact. *_lean: at address, top, impact and
    finish.
    """

    pelvis: TurnShape
    upper_back: TurnShape
    backswing_s: float
    lead_s: float
    downswing_s: float
    pelvis_delay_s: float = 0.06
    pelvis_lean: Lean = Lean((18.0, 19.0, 14.0, 2.0), (0.0, -3.0, 7.0, 4.0))
    upper_back_lean: Lean = Lean((34.0, 33.0, 29.0, 2.0), (4.0, 3.0, 13.0, 6.0))
    shift_m: tuple[float, float, float] = (0.03, -0.07, -0.12)
    """Sideways place of the body along +z (away from the target) at top, impact and finish."""

    def turn(self, segment: SegmentName) -> TurnShape:
        """The turn of one segment."""
        return self.pelvis if segment == "pelvis" else self.upper_back

    def lean(self, segment: SegmentName) -> Lean:
        """The lean of one segment."""
        return self.pelvis_lean if segment == "pelvis" else self.upper_back_lean

    def scaled(self, turn: float, speed: float) -> SwingShape:
        """A smaller or slower swing of the same form, for rehearsals and effort levels."""
        return replace(
            self,
            pelvis=self.pelvis.scaled(turn, speed),
            upper_back=self.upper_back.scaled(turn, speed),
            downswing_s=self.downswing_s * turn / speed,
        )

    def address(self) -> dict[str, float]:
        """Posture at address, degrees, without the facing."""
        posture = {"pelvis_turn": 0.0, "upper_back_turn": 0.0}
        for segment in SEGMENTS:
            lean = self.lean(segment)
            posture |= {f"{segment}_tilt": lean.tilt[0], f"{segment}_bend": lean.bend[0]}
            posture |= {f"{segment}_z": 0.0}
        return posture


@dataclass(frozen=True, slots=True)
class SwingSpread:
    """Standard deviations from swing to swing of one golfer."""

    turn_deg: float = 1.5
    speed: float = 0.015
    tempo: float = 0.03
    lead_s: float = 0.006
    lean_deg: float = 0.8
    facing_deg: float = 3.0

    def vary(self, shape: SwingShape, rng: np.random.Generator) -> SwingShape:
        """One swing's own shape."""
        normal = rng.standard_normal((3, 2)).tolist()
        turns = [
            replace(
                shape.turn(segment),
                back_deg=max(1.0, shape.turn(segment).back_deg + self.turn_deg * normal[0][i]),
                peak_dps=shape.turn(segment).peak_dps * (1.0 + self.speed * normal[1][i]),
                rise_s=shape.turn(segment).rise_s * (1.0 + self.speed * normal[2][i]),
            )
            for i, segment in enumerate(SEGMENTS)
        ]
        leans = (self.lean_deg * rng.standard_normal((2, 2))).tolist()
        return replace(
            shape,
            pelvis=turns[0],
            upper_back=turns[1],
            backswing_s=shape.backswing_s * (1.0 + self.tempo * float(rng.standard_normal())),
            lead_s=shape.lead_s + self.lead_s * float(rng.standard_normal()),
            downswing_s=shape.downswing_s * (1.0 + self.speed * normal[2][1]),
            pelvis_lean=_leaned(shape.pelvis_lean, *leans[0]),
            upper_back_lean=_leaned(shape.upper_back_lean, *leans[1]),
        )


def _leaned(lean: Lean, tilt: float, bend: float) -> Lean:
    first, top, impact, finish = lean.tilt
    return Lean(
        (first + tilt, top + tilt, impact + tilt, finish),
        (lean.bend[0] + bend, lean.bend[1] + bend, lean.bend[2] + bend, lean.bend[3]),
    )


LONG_TURN_LATE_TRANSITION = SwingShape(
    pelvis=TurnShape(back_deg=54.0, peak_dps=425.0, rise_s=0.28, finish_deg=95.0),
    upper_back=TurnShape(96.0, peak_dps=620.0, rise_s=0.31, finish_deg=114.0, fullness=0.57),
    backswing_s=0.95,
    lead_s=0.025,
    downswing_s=0.30,
)
"""Much turn, both segments starting down almost together, speed built slowly."""

SHORT_TURN_EARLY_TRANSITION = SwingShape(
    pelvis=TurnShape(42.0, peak_dps=425.0, rise_s=0.25, finish_deg=92.0, fullness=0.56),
    upper_back=TurnShape(78.0, peak_dps=620.0, rise_s=0.245, finish_deg=110.0, fullness=0.58),
    backswing_s=0.80,
    lead_s=0.06,
    downswing_s=0.24,
)
"""The same peak speed of the upper back from less turn: the pelvis goes first, speed comes fast."""

DWELLING_AT_TOP = SwingShape(
    pelvis=TurnShape(51.0, peak_dps=280.0, rise_s=0.34, finish_deg=88.0, reversal_slope=0.1),
    upper_back=TurnShape(82.0, peak_dps=330.0, rise_s=0.42, finish_deg=96.0, reversal_slope=0.1),
    backswing_s=1.15,
    lead_s=-0.015,
    downswing_s=0.42,
)
"""A slow amateur's swing that rests at the top, the upper back starting down first."""


def write_swing(score: MovementScore, shape: SwingShape) -> float:
    """Write a swing from address at the score's time to the finish; returns the impact time, s.

    Leans and shifts ease from address to top, to just past impact, to the finish.
    """
    begin_s = score.now_s
    top_s = begin_s + shape.backswing_s
    impact_s = top_s + shape.downswing_s
    settled_s = max(impact_s, top_s + shape.upper_back.rise_s) + 0.03
    ends = [
        shape.pelvis.write(
            score, "pelvis_turn", begin_s + shape.pelvis_delay_s, top_s - shape.lead_s
        ),
        shape.upper_back.write(score, "upper_back_turn", begin_s, top_s),
    ]
    end_s = max(*ends, settled_s + 0.35)
    times = (top_s, settled_s, end_s)
    for segment in SEGMENTS:
        lean = shape.lean(segment)
        _through(score, f"{segment}_tilt", begin_s, times, lean.tilt[1:])
        _through(score, f"{segment}_bend", begin_s, times, lean.bend[1:])
        _through(score, f"{segment}_z", begin_s, times, shape.shift_m)
    score.now_s = end_s
    return impact_s


def _through(
    score: MovementScore,
    name: str,
    begin_s: float,
    times: tuple[float, ...],
    values: tuple[float, ...],
) -> None:
    score.rest(name, begin_s)
    for at_s, value in zip(times, values, strict=True):
        score.knot(name, Knot(at_s, value))
