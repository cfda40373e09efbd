"""Finding swings in two streams of rotation rate.

A swing of the trunk is a turn away from the target, a reversal, and a turn toward it that is much
faster, in both segments. Walking sways to and fro, teeing up bends, turning to talk has no turn
back before it, a waggle and a putt stay small, a rehearsal stays slow.

Every decision looks at block means (analysis.blocks) in a fixed stretch around a block, so it does
not depend on how the samples came in. Limits are this project's own, set on simulated sessions
other than those that test them; no published figure.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis import rotation
from analysis.blocks import BLOCK_S, Blocks
from analysis.results import Calibration, Interval, Mounting
from analysis.samples import Array

LEAST_PEAK = np.radians(230.0)
"""rad/s, upper back. Slow full swings of amateurs peak near 300 deg/s; walking stays under 150."""
LEAST_PELVIS_PEAK = np.radians(70.0)
"""rad/s, pelvis, near the upper back's peak."""
LEAST_AWAY = np.radians(38.0)
"""rad, turn away of the upper back before the reversal; a putt is 5 to 15 degrees."""
LEAST_DRIVE = np.radians(np.radians(17_000.0))
"""rad^2/s, turn away times peak speed: a half swing at half speed stays below 15 000 deg^2/s, a
slow full swing of 70 degrees and 300 deg/s has 21 000."""
LEAST_RISE = np.radians(22.0)
"""rad, turn from the reversal to the peak."""
SHORTEST_RISE_S, LONGEST_RISE_S = 0.08, 1.0
"""Reversal to peak speed."""
BACKSWING_S = 2.5
"""The turn away is looked for in so much time before the reversal."""
LARGEST_BACK_SHARE = 0.9
"""Fastest turn away over the fastest turn toward."""
LARGEST_RETURN_SHARE = 0.6
"""Fastest turn away again within ALONE_S after the peak over the peak: a drill that turns the trunk
to and fro goes back as fast as it came, a swing runs out into its finish."""
ALONE_S = 1.25
"""No faster turn of the upper back, either way, within so much time on either side."""
QUIET_RATE = np.radians(14.0)
"""rad/s of a block's mean rate, sensor bias included: stiller than this after a swing is quiet."""
QUIET_AFTER_S = 0.5
"""So much quiet after the swing ends its window."""
LEAST_AFTER_S, MOST_AFTER_S = 1.5, 3.5
"""The window ends between these times after the peak."""
BEFORE_S = 14.0
"""The window starts so long before the peak: room for the address and quiet to learn the bias."""


def anchor_s(window: Interval) -> float:
    """Time near the upper back's peak speed in a swing's window, s: its start plus BEFORE_S."""
    return window.start_s + BEFORE_S + 0.5 * BLOCK_S


def window_around(peak_s: float) -> Interval:
    """The window of a swing whose upper back is fastest near `peak_s`, where none was found."""
    start = np.floor(peak_s / BLOCK_S) * BLOCK_S
    return Interval(float(start - BEFORE_S), float(start + MOST_AFTER_S))


def long_axis_rate(gyro: Array, mounting: Mounting) -> Array:
    """Rate about the segment's long axis, (n,) rad/s, from gyro (n, 3) in sensor axes.

    Written out, not as a matrix product, whose last bit may depend on the place in memory.
    """
    w, x, y, z = mounting.rotation.tolist()
    # the segment's y axis as the sensor sees it
    along = (2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - w * x))
    rate: Array = gyro[:, 0] * along[0] + gyro[:, 1] * along[1] + gyro[:, 2] * along[2]
    return rate


class SwingFinder:
    """Finds the windows of swings, in order of time, as blocks become known.

    `calibration_at` gives the calibration in force at a session time.
    """

    def __init__(self, calibration_at: Callable[[float], Calibration]) -> None:
        self._calibration_at = calibration_at
        self._scanned = -_NEVER
        self._pending: list[int] = []

    def advance(self, pelvis: Blocks, upper_back: Blocks, front: int) -> list[Interval]:
        """Windows that are decided now. front: all blocks below it are known in both streams."""
        self._pending += self._new_peaks(pelvis, upper_back, front - _ALONE)
        found: list[Interval] = []
        while self._pending:
            end = _window_end(pelvis, upper_back, self._pending[0], front)
            if end is None:
                break
            peak = self._pending.pop(0)
            found.append(Interval(peak * BLOCK_S - BEFORE_S, end * BLOCK_S))
        return found

    def needed_from(self, front: int) -> int:
        """Blocks before this one are not looked at again."""
        first = min([front - _ALONE, *self._pending])
        return first - _BEFORE

    def _new_peaks(self, pelvis: Blocks, upper_back: Blocks, up_to: int) -> list[int]:
        fresh = upper_back.between(self._scanned, up_to)
        self._scanned = max(self._scanned, up_to)
        fast = fresh.index[rotation.squared_length(fresh.gyro) >= LEAST_PEAK**2]
        peaks, beaten_up_to, judged_by = [], -_NEVER, None
        for block in fast.tolist():
            calibration = self._calibration_at(block * BLOCK_S)
            if block < beaten_up_to and calibration is judged_by:
                continue
            fastest, speed = fastest_near(upper_back, block, calibration.upper_back)
            is_peak = fastest == block and speed >= LEAST_PEAK
            if is_peak and is_swing(pelvis, upper_back, block, calibration):
                peaks.append(block)
            # blocks as near to the fastest that were looked at just now need no look of their own
            behind = min(fastest + _ALONE + 1, block + _ALONE)
            beaten_up_to, judged_by = (fastest if fastest > block else behind), calibration
        return peaks


def fastest_near(upper_back: Blocks, block: int, mounting: Mounting) -> tuple[int, float]:
    """The block within ALONE_S of one that turns fastest about the long axis, and its rad/s."""
    near = upper_back.between(block - _ALONE, block + _ALONE)
    rate = np.abs(long_axis_rate(near.gyro, mounting))
    fastest = int(np.argmax(rate))
    return int(near.index[fastest]), float(rate[fastest])


def is_swing(pelvis: Blocks, upper_back: Blocks, peak: int, calibration: Calibration) -> bool:
    """Whether a swing has its upper back's peak speed in block `peak`, fastest around it."""
    back = _blocks(BACKSWING_S + LONGEST_RISE_S)
    rate = long_axis_rate(upper_back.filled(peak - back, peak + 1), calibration.upper_back)
    toward = rate * np.sign(rate[back])
    direction = float(np.sign(rate[back]))
    return (
        _is_shape_of_swing(toward, back)
        and _runs_out(upper_back, peak, calibration.upper_back, direction)
        and _pelvis_turns(pelvis, peak, calibration.pelvis, direction)
    )


def _is_shape_of_swing(toward: Array, peak: int) -> bool:
    """Turn away, reversal, much faster turn toward; toward (n,) rad/s, fastest at row `peak`."""
    away = np.flatnonzero(toward[:peak] <= 0.0)
    if not away.size:
        return False
    reversal = int(away[-1])
    if not SHORTEST_RISE_S <= (peak - reversal) * BLOCK_S <= LONGEST_RISE_S:
        return False
    before = toward[max(0, reversal + 1 - _blocks(BACKSWING_S)) : reversal + 1]
    angle = np.cumsum(before) * BLOCK_S
    turned_away = float(max(angle.max(), 0.0) - angle[-1])
    rise = float(toward[reversal + 1 : peak + 1].sum()) * BLOCK_S
    slower_back = float(-before.min()) <= LARGEST_BACK_SHARE * float(toward[peak])
    full = turned_away >= LEAST_AWAY and turned_away * float(toward[peak]) >= LEAST_DRIVE
    return full and rise >= LEAST_RISE and slower_back


def _runs_out(upper_back: Blocks, peak: int, mounting: Mounting, direction: float) -> bool:
    """Whether the turn toward the target is not followed by one away that is nearly as fast."""
    after = direction * long_axis_rate(upper_back.filled(peak, peak + _ALONE), mounting)
    return bool(-after.min() <= LARGEST_RETURN_SHARE * after[0])


def _pelvis_turns(pelvis: Blocks, peak: int, mounting: Mounting, direction: float) -> bool:
    """Whether the pelvis turns the same way near the peak; yes where nothing of it is known."""
    first, last = peak - _blocks(0.4), peak + _blocks(0.2)
    if not pelvis.between(first, last).index.size:
        return True
    fastest = float((direction * long_axis_rate(pelvis.filled(first, last), mounting)).max())
    return bool(fastest >= LEAST_PELVIS_PEAK)


def _window_end(pelvis: Blocks, upper_back: Blocks, peak: int, front: int) -> int | None:
    """Block at which the window ends, None while that is not decided."""
    first, most = peak + _blocks(LEAST_AFTER_S) - _QUIET_AFTER, peak + _blocks(MOST_AFTER_S)
    last = min(front, most)
    if last - first >= _QUIET_AFTER:
        quiet = np.ones(last - first, dtype=np.bool_)
        for stream in (pelvis, upper_back):
            x, y, z = stream.filled(first, last).T
            quiet &= x * x + y * y + z * z < QUIET_RATE**2
        moving = np.cumsum(np.concatenate(([0], ~quiet)))
        still = np.flatnonzero(moving[_QUIET_AFTER:] == moving[:-_QUIET_AFTER])
        if still.size:
            return first + int(still[0]) + _QUIET_AFTER
    return most if front >= most else None


def _blocks(duration_s: float) -> int:
    return round(duration_s / BLOCK_S)


_ALONE = _blocks(ALONE_S)
_BEFORE = _blocks(BEFORE_S)
_QUIET_AFTER = _blocks(QUIET_AFTER_S)
_NEVER = 2**60
