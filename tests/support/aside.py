"""What the event loop says aside: errors of work that nobody waited for."""

from __future__ import annotations

import asyncio
import gc


class Aside:
    """Listens from its making on, instead of the log."""

    def __init__(self) -> None:
        self.said: list[str] = []
        asyncio.get_running_loop().set_exception_handler(
            lambda _loop, context: self.said.append(str(context))
        )

    async def all(self) -> list[str]:
        """Everything said, that of work which is gone included."""
        gc.collect()
        await asyncio.sleep(0)
        return self.said
