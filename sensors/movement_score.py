"""Writing a movement: eases and knots on named coordinates, put together to a body motion."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sensors.body_motion import ANGLES, COORDINATES, BodyMotion
from sensors.smooth_path import Knot, smooth_path

UPRIGHT: dict[str, float] = dict.fromkeys(COORDINATES, 0.0)
"""Standing straight, facing the ball's line; degrees and m."""

_SWAY_STEP_S = (0.7, 1.5)
"""Time of one sway from place to place; slower than a waggle, common practice, no source."""
_TOUCHING_S = 1e-9


class MovementScore:
    """Knots of every coordinate over one stretch of time. Degrees and m, for a right-hander.

    A movement begins and ends at rest, so stretches written one after another join smoothly.
    """

    def __init__(self, start_s: float, posture: Mapping[str, float]) -> None:
        self.start_s = start_s
        self.now_s = start_s
        self._knots = {name: [Knot(start_s, posture[name])] for name in COORDINATES}

    def knot(self, coordinate: str, knot: Knot) -> None:
        """Pass through a knot. Raises ValueError where it does not come after the last one."""
        track = self._knots[coordinate]
        if knot.time_s <= track[-1].time_s:
            raise ValueError(
                f"{coordinate}: a knot at {knot.time_s:.4f} s does not come after "
                f"the one at {track[-1].time_s:.4f} s"
            )
        track.append(knot)

    def rest(self, coordinate: str, at_s: float) -> None:
        """Hold a coordinate where it last was, up to a time."""
        last = self._knots[coordinate][-1]
        if at_s - last.time_s > _TOUCHING_S:
            self.knot(coordinate, Knot(at_s, last.value))

    def ease(self, to: Mapping[str, float], duration_s: float, *, after_s: float = 0.0) -> None:
        """Bring coordinates to values, from rest to rest; the writing time stays where it is."""
        begin_s = self.now_s + after_s
        for coordinate, value in to.items():
            self.rest(coordinate, begin_s)
            self.knot(coordinate, Knot(begin_s + duration_s, value))

    def step(self, to: Mapping[str, float], duration_s: float) -> None:
        """Ease, and go on writing from its end."""
        self.ease(to, duration_s)
        self.now_s += duration_s

    def hold(
        self, duration_s: float, rng: np.random.Generator | None = None, sway_deg: float = 0.0
    ) -> None:
        """Stay; with `rng`, every angle sways by about sway_deg and ends where it then is."""
        end_s = self.now_s + duration_s
        if rng is not None and sway_deg > 0.0:
            for coordinate in ANGLES:
                self._sway(coordinate, end_s, rng, sway_deg)
        self.now_s = end_s

    def _sway(
        self, coordinate: str, end_s: float, rng: np.random.Generator, sway_deg: float
    ) -> None:
        self.rest(coordinate, self.now_s)
        centre = self.value(coordinate)
        at_s = self.now_s + rng.uniform(*_SWAY_STEP_S)
        while at_s < end_s - _SWAY_STEP_S[0]:
            self.knot(coordinate, Knot(at_s, centre + sway_deg * rng.standard_normal()))
            at_s += rng.uniform(*_SWAY_STEP_S)
        drift = min(1.0, (end_s - self.now_s) / _SWAY_STEP_S[0]) * sway_deg
        self.knot(coordinate, Knot(end_s, centre + drift * rng.standard_normal()))

    def value(self, coordinate: str) -> float:
        """Where a coordinate was last put."""
        return self._knots[coordinate][-1].value

    def posture(self) -> dict[str, float]:
        """Where every coordinate was last put."""
        return {name: self.value(name) for name in COORDINATES}

    def motion(self, *, mirrored: bool = False) -> BodyMotion:
        """The movement up to the writing time or the last knot, whichever is later."""
        end_s = max(self.now_s, *(track[-1].time_s for track in self._knots.values()))
        self.now_s = end_s
        paths = {
            name: smooth_path(track, np.pi / 180.0 if name in ANGLES else 1.0)
            for name, track in self._knots.items()
        }
        return BodyMotion(self.start_s, end_s, paths, mirrored)
