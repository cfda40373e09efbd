"""What holds a sensor: the analysis' word for it and the wire's."""

from __future__ import annotations

from typing import Final

from analysis.results import Fixing
from sensors import wire

SAID: Final[dict[Fixing, wire.Fixing | None]] = {
    Fixing.UNKNOWN: None,
    Fixing.STRAPPED: "strapped",
    Fixing.RIGID: "rigid",
}
"""As streams and recordings say it; nothing where it is not known."""
