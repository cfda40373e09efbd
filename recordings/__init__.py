"""Recordings that ship with the project; README.md beside this file says how to read them."""

from __future__ import annotations

from pathlib import Path
from typing import Final

DEMO_RECORDING: Final = Path(__file__).parent / "demo"
"""An invented range session of three swings, Motion-BIDS."""
