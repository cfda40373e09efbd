"""What the analysis says: calibrations and swings, as plain dataclasses."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum

from analysis.samples import Array

ANALYSIS_VERSION = 5
"""Rises with every change that moves a number."""


class Handedness(StrEnum):
    """Which way the golfer stands to the ball; fixes the sign of every turn."""

    RIGHT = "right"
    LEFT = "left"


class Sex(StrEnum):
    """For the table of segment inertias only."""

    MALE = "male"
    FEMALE = "female"


@dataclass(frozen=True, slots=True)
class GolferFacts:
    """What the analysis needs to know of a golfer. Lengths m, mass kg; None: not known."""

    handedness: Handedness = Handedness.RIGHT
    height_m: float | None = None
    mass_kg: float | None = None
    sex: Sex | None = None


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of session time, s."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that a reader of the numbers must know. `code` is stable, `text` is for people.

    spoils: the numbers may be wrong by more than they say, so averages leave the swing out.
    """

    code: str
    text: str
    spoils: bool = True


class Fixing(StrEnum):
    """What holds a sensor to its segment; only the user can know."""

    UNKNOWN = "unknown"
    """Not said: nothing is undone, and the uncertainty counts riding as likely as not."""
    STRAPPED = "strapped"
    """A belt or strap over skin and cloth: the usual ride is undone (analysis.ride)."""
    RIGID = "rigid"
    """As on a plate: it does not ride."""

    @classmethod
    def of(cls, stated: str | None) -> Fixing:
        """What was said; UNKNOWN where nothing was. Raises ValueError."""
        return cls.UNKNOWN if stated is None else cls(stated)


@dataclass(frozen=True, slots=True)
class Mounting:
    """How a sensor sits on its segment.

    rotation (4,): unit quaternion, scalar first, sensor axes to segment axes.
    tilt_u_rad, heading_u_rad: one standard uncertainty of the long axis and of the right axis.
    """

    rotation: Array
    tilt_u_rad: float = 0.0
    heading_u_rad: float = 0.0
    fixing: Fixing = Fixing.UNKNOWN


@dataclass(frozen=True, slots=True)
class Calibration:
    """Both mountings, in force from `from_s` of session time on.

    `calibrated` False: worn in segment axes (identity), nothing measured. repeats: stands and bows
    that it was made of.
    """

    pelvis: Mounting
    upper_back: Mounting
    from_s: float = float("-inf")
    calibrated: bool = False
    flags: tuple[Flag, ...] = ()
    repeats: int = 1

    def fixed(self, pelvis: Fixing, upper_back: Fixing) -> Calibration:
        """The same, with what holds each sensor said."""
        return replace(
            self,
            pelvis=replace(self.pelvis, fixing=pelvis),
            upper_back=replace(self.upper_back, fixing=upper_back),
        )


@dataclass(frozen=True, slots=True)
class Curves:
    """A swing against time, for drawing. All (n,); time_s session time; angles relative to address.

    Turns and velocities positive toward the target; separation positive while the upper back is
    turned further away.
    """

    time_s: Array
    pelvis_turn_deg: Array
    upper_back_turn_deg: Array
    separation_deg: Array
    joint_separation_deg: Array
    pelvis_velocity_dps: Array
    upper_back_velocity_dps: Array


@dataclass(frozen=True, slots=True)
class Swing:
    """One swing: when it was, its numbers by column name (analysis.columns), what to know of it.

    window: the stretch of session time it was computed from. events: name -> session time, s.
    metrics: column -> number, text or None where it could not be had. uncertainty: column -> one
    standard uncertainty in the column's unit. lasting_uncertainty: its part that all swings of one
    calibration share and another calibration draws anew; like the curves it comes with an analysis
    and is not kept.
    """

    number: int
    window: Interval
    events: dict[str, float]
    metrics: dict[str, float | str | None]
    uncertainty: dict[str, float] = field(default_factory=dict)
    flags: tuple[Flag, ...] = ()
    curves: Curves | None = None
    lasting_uncertainty: dict[str, float] = field(default_factory=dict, compare=False)

    @property
    def usable(self) -> bool:
        """Whether averages take it by default."""
        return not any(flag.spoils for flag in self.flags)
