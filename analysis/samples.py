"""What one body-worn sensor measured, as arrays on the session's time line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, StrEnum
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from analysis.errors import SampleError

Array = npt.NDArray[np.float64]


class Segment(StrEnum):
    """The body segment a sensor rides on."""

    PELVIS = "pelvis"
    UPPER_BACK = "upper_back"


class RateSample(Enum):
    """What one gyro sample says."""

    INSTANT = "instant"
    """The rate at its time stamp."""
    MEAN = "mean"
    """The mean rate from the sample before to its own time stamp, as a sensor that averages
    between two outputs gives it."""

    @classmethod
    def of(cls, stated: str | None) -> RateSample:
        """What a sensor states; INSTANT where it states nothing. Raises ValueError."""
        return cls.INSTANT if stated is None else cls(stated)


@dataclass(frozen=True, slots=True)
class SampleTable:
    """Samples of one sensor in the sensor's own axes.

    time_s (n,) s, session time, strictly increasing; gyro (n, 3) rad/s; accel (n, 3) m/s^2,
    specific force; time_u_s one standard uncertainty of the sensor's clock in session time, s;
    rate_sample what a row of gyro is.

    Raises SampleError: wrong shape, a value that is not finite, time that does not increase.
    """

    time_s: Array
    gyro: Array
    accel: Array
    time_u_s: float = 0.0
    rate_sample: RateSample = RateSample.INSTANT

    def __post_init__(self) -> None:
        n = self.time_s.shape[0] if self.time_s.ndim == 1 else -1
        for name, array, shape in (
            ("time_s", self.time_s, (n,)),
            ("gyro", self.gyro, (n, 3)),
            ("accel", self.accel, (n, 3)),
        ):
            if array.shape != shape or n < 0:
                raise SampleError(f"{name}: expected shape {shape}, received {array.shape}")
            if not np.isfinite(array).all():
                row = int(np.argwhere(~np.isfinite(array))[0][0])
                raise SampleError(f"{name}: row {row} is not a finite number")
        backwards = np.flatnonzero(np.diff(self.time_s) <= 0.0)
        if backwards.size:
            row = int(backwards[0]) + 1
            raise SampleError(
                f"time_s: time must increase from row to row, but row {row} "
                f"({self.time_s[row]:.6f} s) is not after row {row - 1} "
                f"({self.time_s[row - 1]:.6f} s)"
            )

    def __len__(self) -> int:
        return int(self.time_s.shape[0])

    def between(self, start_s: float, end_s: float) -> SampleTable:
        """Samples with start_s <= time < end_s, as views on the same memory."""
        first, last = self.time_s.searchsorted((start_s, end_s))
        return self.rows(int(first), int(last))

    def rows(self, first: int, last: int) -> SampleTable:
        """Rows first <= row < last, as views on the same memory."""
        part = slice(first, last)
        return self._with(self.time_s[part], self.gyro[part], self.accel[part])

    def copied(self) -> SampleTable:
        """The same samples in memory of their own, axis by axis, which makes work on them fast."""
        return self._with(*(a.copy(order="F") for a in (self.time_s, self.gyro, self.accel)))

    def after(self, earlier: Sequence[SampleTable]) -> SampleTable:
        """The samples of earlier tables, in order of time, and these as one table.

        time_u_s: the greatest of all; rate_sample: that of these, the last ones. Raises SampleError
        where a table does not begin after the one before it ends.
        """
        tables = (*earlier, self)
        for one, other in pairwise(table.time_s for table in tables if len(table)):
            if other[0] <= one[-1]:
                raise SampleError(
                    f"time_s: expected samples after {one[-1]:.6f} s, received {other[0]:.6f} s"
                )
        return self._with(
            np.concatenate([table.time_s for table in tables]),
            np.concatenate([table.gyro for table in tables]),
            np.concatenate([table.accel for table in tables]),
            time_u_s=max(table.time_u_s for table in tables),
        )

    def _with(
        self, time_s: Array, gyro: Array, accel: Array, *, time_u_s: float | None = None
    ) -> SampleTable:
        """With rows that were checked with their tables and need no check again."""
        table = object.__new__(SampleTable)
        for name, array in (("time_s", time_s), ("gyro", gyro), ("accel", accel)):
            object.__setattr__(table, name, array)
        object.__setattr__(table, "time_u_s", self.time_u_s if time_u_s is None else time_u_s)
        object.__setattr__(table, "rate_sample", self.rate_sample)
        return table
