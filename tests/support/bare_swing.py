"""A swing without its curves, as the store keeps it."""

from __future__ import annotations

from dataclasses import replace

from analysis.results import Swing


def bare(swing: Swing) -> Swing:
    """The same swing, curves left out."""
    return replace(swing, curves=None)
