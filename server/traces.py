"""Newest axial velocities for the live page. Live values: scale and mounting applied, bias left in.

Before a calibration they are about the sensor's own y axis, whatever that is on the body.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.results import Calibration, Handedness
from analysis.rotation import rotate
from analysis.samples import Array, SampleTable, Segment
from analysis.scale_in_force import SegmentScale, put_right
from server.views import TraceMessage

EVERY_S = 0.1
"""At most one message in this time."""
KEEP_S = 1.0
"""Longest stretch in one message; what is older is not shown."""


class TraceFeed:
    """Gathers samples of both segments and gives what is new in both, now and then."""

    def __init__(self, handedness: Handedness, scales: Sequence[SegmentScale] = ()) -> None:
        """scales: what is known of the gyros' scale."""
        self._scales = tuple(scales)
        # toward the target is a turn to the left (about up) for a right-hander
        self._sign = 1.0 if handedness is Handedness.RIGHT else -1.0
        self._axes: dict[Segment, Array] = {}
        self._gathered: dict[Segment, tuple[Array, Array]] = {
            segment: (np.empty(0), np.empty(0)) for segment in Segment
        }
        self._shown_to_s = float("-inf")
        self._sent_at = float("-inf")

    def calibrate(self, calibration: Calibration) -> None:
        """Use the mountings from now on."""
        for segment, mounting in (
            (Segment.PELVIS, calibration.pelvis),
            (Segment.UPPER_BACK, calibration.upper_back),
        ):
            back = mounting.rotation * np.array([1.0, -1.0, -1.0, -1.0])
            self._axes[segment] = rotate(back, np.array([0.0, 1.0, 0.0]))

    def push(self, segment: Segment, table: SampleTable) -> None:
        """Take in samples; keeps KEEP_S of them."""
        table = put_right(table, segment, self._scales)
        axis = self._axes.get(segment, np.array([0.0, 1.0, 0.0]))
        time_s, velocity = self._gathered[segment]
        time_s = np.concatenate((time_s, table.time_s))
        velocity = np.concatenate((velocity, np.degrees(table.gyro @ axis) * self._sign))
        first = int(np.searchsorted(time_s, time_s[-1] - KEEP_S))
        self._gathered[segment] = (time_s[first:], velocity[first:])

    def take(self, now: float) -> TraceMessage | None:
        """What is new in both segments, at the pelvis' times; None: nothing, or too soon.

        now: monotonic time, s.
        """
        pelvis_s, pelvis = self._gathered[Segment.PELVIS]
        upper_s, upper = self._gathered[Segment.UPPER_BACK]
        if now - self._sent_at < EVERY_S or not (len(pelvis_s) and len(upper_s)):
            return None
        shown = (pelvis_s > self._shown_to_s) & (pelvis_s >= upper_s[0]) & (pelvis_s <= upper_s[-1])
        if not shown.any():
            return None
        time_s = pelvis_s[shown]
        self._shown_to_s, self._sent_at = float(time_s[-1]), now
        return TraceMessage(
            time_s=time_s.tolist(),
            pelvis_velocity_dps=pelvis[shown].tolist(),
            upper_back_velocity_dps=np.interp(time_s, upper_s, upper).tolist(),
        )
