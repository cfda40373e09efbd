"""How long to wait before the next try: longer each time, never quite the same."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Final

FIRST_S: Final = 0.25
LONGEST_S: Final = 10.0
GROWTH: Final = 1.7


def backoff_delays(rng: random.Random | None = None) -> Iterator[float]:
    """Delays in s, without end: from FIRST_S up to LONGEST_S, each drawn from its upper half.

    The spread keeps several collectors from coming back at the same moment.
    """
    draw = rng if rng is not None else random.Random()
    delay = FIRST_S
    while True:
        yield delay * draw.uniform(0.5, 1.0)
        delay = min(delay * GROWTH, LONGEST_S)
