"""The data dictionary: every column of a swing, in the order of every table and file.

Signs are the golfer's, not an axis's: a turn is positive toward the target, negative away from
it, for right- and left-handers alike; separation is positive while the upper back is turned
further away from the target than the pelvis. Zero of every turn is the address of that swing.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One number, or word, of a swing.

    name: the column's name, its unit at the end. unit: as shown to people, empty for plain
    numbers and words. label: a few words for a heading. description: one sentence that says what
    it is and what its sign means. estimate: not measured but inferred from something else.
    decimals: as many as the sensors can bear.
    """

    name: str
    unit: str
    label: str
    description: str
    decimals: int
    estimate: bool = False
    text: bool = False

    @property
    def has_uncertainty(self) -> bool:
        """Whether the column carries one standard uncertainty, in its own unit."""
        return not self.text and self.name != "swing"


def _turn(name: str, words: str) -> tuple[Column, ...]:
    """How far a segment has turned at the top."""
    return (
        Column(
            f"{name}_turn_top_deg",
            "°",
            f"{words.capitalize()} turn at top",
            f"How far the {words} has turned at the top since address, seen from above; "
            "negative away from the target.",
            1,
        ),
    )


def _peak(name: str, words: str) -> tuple[Column, ...]:
    """A segment's fastest turn."""
    return (
        Column(
            f"{name}_peak_dps",
            "°/s",
            f"{words.capitalize()} peak speed",
            f"The fastest turn of the {words} about its own long axis in the downswing and "
            "just past impact; positive toward the target.",
            0,
        ),
    )


def _runway(name: str, words: str) -> tuple[Column, ...]:
    """From a segment's reversal to its peak speed."""
    return (
        Column(
            f"{name}_runway_deg",
            "°",
            f"{words.capitalize()} runway",
            f"Angle the {words} turns about its own long axis from its reversal to its peak speed.",
            1,
        ),
        Column(
            f"{name}_runway_s",
            "s",
            f"{words.capitalize()} runway time",
            f"Time from the reversal of the {words} to its peak speed.",
            3,
        ),
        Column(
            f"{name}_mean_rate_dps2",
            "°/s²",
            f"{words.capitalize()} mean rate",
            f"How quickly the {words} builds speed: its mean angular acceleration over the "
            "runway, peak² / (2 × runway).",
            0,
        ),
    )


def _posture(name: str, words: str) -> tuple[Column, ...]:
    """A segment's tilts at the top."""
    return (
        Column(
            f"{name}_obliquity_top_deg",
            "°",
            f"{words.capitalize()} side tilt at top",
            f"Tilt of the right-left line of the {words} at the top against the horizontal; "
            "positive with the lead side higher.",
            1,
        ),
        Column(
            f"{name}_forward_tilt_top_deg",
            "°",
            f"{words.capitalize()} forward tilt at top",
            f"Tilt of the {words} about its own right-left line at the top against the "
            "vertical; positive when bent forward.",
            1,
        ),
    )


def _power(name: str, words: str) -> tuple[Column, ...]:
    """A segment's rotational power."""
    return (
        Column(
            f"{name}_peak_power_w",
            "W",
            f"{words.capitalize()} peak rotational power",
            f"Highest rotational power of the {words} about its long axis in the downswing, "
            "from the golfer's height, mass and sex; arms and club not counted.",
            0,
            estimate=True,
        ),
        Column(
            f"{name}_peak_power_w_per_kg",
            "W/kg",
            f"{words.capitalize()} peak rotational power by mass",
            f"Highest rotational power of the {words}, divided by the golfer's body mass.",
            2,
            estimate=True,
        ),
    )


_PELVIS = ("pelvis", "pelvis")
_UPPER_BACK = ("upper_back", "upper back")
"""A segment as in a column's name and as in a sentence."""

_BEGIN = (
    Column("swing", "", "Swing", "Number of the swing in its session, from 1.", 0),
    Column(
        "address_s",
        "s",
        "Address",
        "End of the last quiet spell before the swing; the zero of every turn.",
        3,
    ),
    Column("takeaway_s", "s", "Takeaway", "Onset of the turn away from the target.", 3),
    Column("top_s", "s", "Top", "The upper back's reversal from away to toward the target.", 3),
)
_SEPARATION = (
    Column(
        "separation_top_deg",
        "°",
        "Separation at top",
        "Pelvis turn minus upper-back turn at the top; positive while the upper back is turned "
        "further away from the target.",
        1,
    ),
    Column(
        "separation_max_deg",
        "°",
        "Greatest separation",
        "The greatest separation from the earlier of the two reversals to the upper back's peak "
        "speed; positive while the upper back is turned further away.",
        1,
    ),
    Column(
        "separation_gain_deg",
        "°",
        "Separation gain",
        "What the greatest separation gained on the separation at the top.",
        1,
    ),
    Column(
        "separation_gain_pct",
        "%",
        "Separation gain",
        "Separation gain as a share of the separation at the top.",
        0,
    ),
    Column(
        "joint_separation_top_deg",
        "°",
        "Joint separation at top",
        "Axial rotation of the spine joint angles at the top since address; positive while the "
        "upper back is turned further away from the target.",
        1,
    ),
    Column(
        "joint_separation_max_deg",
        "°",
        "Greatest joint separation",
        "The greatest joint separation from the earlier reversal to the upper back's peak speed; "
        "positive while the upper back is turned further away.",
        1,
    ),
    Column(
        "joint_separation_gain_deg",
        "°",
        "Joint separation gain",
        "What the greatest joint separation gained on its value at the top.",
        1,
    ),
    Column(
        "separation_closing_peak_dps",
        "°/s",
        "Fastest closing",
        "The fastest rate at which separation closes after its greatest value; positive closing.",
        0,
    ),
)
_SEQUENCE = (
    Column(
        "transition_lead_ms",
        "ms",
        "Transition lead",
        "Upper-back reversal minus pelvis reversal; positive when the pelvis starts down first.",
        0,
    ),
    *_peak(*_PELVIS),
    *_peak(*_UPPER_BACK),
    Column(
        "peak_gap_ms",
        "ms",
        "Peak gap",
        "Time of the upper back's peak speed minus that of the pelvis; positive when the pelvis "
        "peaks first.",
        0,
    ),
    Column("peak_order", "", "Peaks first", "Which segment peaks first.", 0, text=True),
    Column(
        "speed_gain",
        "",
        "Speed gain",
        "Upper back's peak speed divided by that of the pelvis.",
        2,
    ),
)
_TEMPO = (
    Column("backswing_s", "s", "Backswing", "Time from takeaway to top.", 2),
    Column(
        "downswing_s", "s", "Downswing", "Time from top to the time of impact.", 3, estimate=True
    ),
    Column("tempo", "", "Tempo", "Backswing time divided by downswing time.", 1, estimate=True),
    Column(
        "impact_s",
        "s",
        "Impact",
        "Time of impact: a strike seen by a sensor, else an estimate from the torso alone.",
        3,
        estimate=True,
    ),
    Column(
        "impact_method",
        "",
        "Impact from",
        "How the time of impact was had: 'strike' as seen in an accelerometer, or 'estimate'.",
        0,
        text=True,
    ),
)
_RUNWAY = (
    Column(
        "runway_deg",
        "°",
        "Runway",
        "Angle the upper back turns about its own long axis from its reversal to its peak speed.",
        1,
    ),
    Column(
        "runway_s", "s", "Runway time", "Time from the upper back's reversal to its peak speed.", 3
    ),
    Column(
        "mean_rate_dps2",
        "°/s²",
        "Mean rate",
        "How quickly the upper back builds speed: its mean angular acceleration over the runway, "
        "peak² / (2 × runway).",
        0,
    ),
)
_TIMES = (
    Column("pelvis_reversal_s", "s", "Pelvis reversal", "The pelvis turns from away to toward.", 3),
    Column("pelvis_peak_s", "s", "Pelvis peak time", "Time of the pelvis's peak speed.", 3),
    Column(
        "upper_back_peak_s", "s", "Upper back peak time", "Time of the upper back's peak speed.", 3
    ),
    Column(
        "separation_max_s", "s", "Time of greatest separation", "When separation is greatest.", 3
    ),
)

COLUMNS: tuple[Column, ...] = (
    *_BEGIN,
    *_turn(*_PELVIS),
    *_turn(*_UPPER_BACK),
    *_SEPARATION,
    *_SEQUENCE,
    *_TEMPO,
    *_RUNWAY,
    *_runway(*_PELVIS),
    *_runway(*_UPPER_BACK),
    *_posture(*_PELVIS),
    *_posture(*_UPPER_BACK),
    *_power(*_PELVIS),
    *_power(*_UPPER_BACK),
    *_TIMES,
    Column(
        "quality",
        "",
        "Quality",
        "What to know of this swing's numbers, as codes; 'ok' where there is nothing.",
        0,
        text=True,
    ),
)
"""Every column, in the order of every table and file. Times are session time."""

BY_NAME: dict[str, Column] = {column.name: column for column in COLUMNS}
METRIC_NAMES: tuple[str, ...] = tuple(n for n in BY_NAME if n not in ("swing", "quality"))
"""What a swing carries as its metrics; its number and its flags are fields of their own."""
