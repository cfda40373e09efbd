"""The socket under an uplink: connects, moves frames both ways, connects again.

The decisions are in sensors.uplink; here is waiting and moving only.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import (
    ConnectionClosed,
    ConnectionClosedOK,
    InvalidHandshake,
    InvalidStatus,
    InvalidURI,
)
from websockets.frames import CloseCode

from sensors.backoff import backoff_delays
from sensors.errors import UplinkError
from sensors.uplink import LineError, Uplink
from sensors.wire import MAX_FRAME_BYTES, Acknowledge, WireError, decode_from_service

log = logging.getLogger(__name__)

DEFAULT_PORT: Final = 8765
"""Of a service on this machine, where nothing else is said."""
HEARTBEAT_S: Final = 5.0
"""A ping this often; an answer must come within twice the time."""
GREETING_S: Final = 10.0
ANSWER_S: Final = 30.0
"""Frames are on their way and the service says nothing for this long: the line is given up."""


@dataclass(frozen=True, slots=True)
class ServiceAddress:
    """Where a collector sends. url: ws(s)://HOST:PORT/api/ingest; token: if it wants one."""

    url: str
    token: str | None = None

    @classmethod
    def of(cls, host: str, port: int, token: str | None = None) -> ServiceAddress:
        """The address of a service on this host and port, without encryption."""
        name = f"[{host}]" if ":" in host else host
        return cls(f"ws://{name}:{port}/api/ingest", token)


News = Callable[[str], None]
"""Told one sentence for people when the line comes, goes, or the service says something."""


class ServiceLink:
    """Keeps one uplink connected until it is finished.

    `changed`: to be set whenever the uplink may have something new to send.
    `taken`: set whenever the service took something.
    """

    def __init__(
        self,
        uplink: Uplink,
        address: ServiceAddress,
        *,
        news: News | None = None,
        delays: Callable[[], Iterator[float]] = backoff_delays,
    ) -> None:
        self.changed = asyncio.Event()
        self.taken = asyncio.Event()
        self.connected = False
        self._uplink = uplink
        self._address = address
        self._news = news
        self._delays = delays
        self._silent_since = 0.0
        self._must_prove = False

    async def run(self) -> None:
        """Connect as often as it takes until the uplink is finished.

        Raises UplinkError where trying again will not help. A cancel closes the connection; what
        is not acknowledged stays in the spool and is sent by whoever takes it up again.
        """
        delays, failures = self._delays(), 0
        while not self._uplink.finished:
            trouble = await self._connection()
            self._must_prove = True
            if self.connected:
                delays, failures = self._delays(), 0
                self.connected = False
            if self._uplink.finished:
                return
            failures += 1
            level = logging.WARNING if failures == 1 else logging.DEBUG
            log.log(level, "no line to %s: %s", self._address.url, trouble)
            if failures == 1:
                self._tell(f"no line to the service ({trouble}); samples are kept and sent later")
            await asyncio.sleep(next(delays))

    async def _connection(self) -> str:
        """One connection from its start to its end; why it ended. Raises UplinkError."""
        token = self._address.token
        try:
            async with connect(
                self._address.url,
                additional_headers={"Authorization": f"Bearer {token}"} if token else None,
                compression=None,
                proxy=None,
                open_timeout=GREETING_S,
                ping_interval=HEARTBEAT_S,
                ping_timeout=2.0 * HEARTBEAT_S,
                close_timeout=HEARTBEAT_S,
                max_size=MAX_FRAME_BYTES,
            ) as socket:
                await self._converse(socket)
                return "the service closed the connection"
        except (
            OSError,
            TimeoutError,
            ConnectionClosed,
            InvalidHandshake,
            InvalidURI,
            LineError,
            WireError,
        ) as error:
            if not is_transient(error):
                raise UplinkError(f"{self._address.url}: {error}", code="address") from error
            return str(error) or type(error).__name__

    async def _converse(self, socket: ClientConnection) -> None:
        """Greet, then send and receive until either ends. The sender is cancelled in the end."""
        try:
            await socket.send(self._uplink.connected())
            async with asyncio.timeout(GREETING_S):
                self._take(await socket.recv())
            self._prove(not self._must_prove or not self._uplink.waiting)
            sending = asyncio.create_task(self._send(socket), name="uplink: send")
            receiving = asyncio.create_task(self._receive(socket), name="uplink: receive")
            try:
                await asyncio.wait({sending, receiving}, return_when=asyncio.FIRST_COMPLETED)
            finally:
                for task in (sending, receiving):
                    if not task.done():
                        task.cancel()
                results = await asyncio.gather(sending, receiving, return_exceptions=True)
            raise_first(results[1], results[0])
        finally:
            self._uplink.disconnected(normally=socket.close_code == CloseCode.NORMAL_CLOSURE)

    async def _send(self, socket: ClientConnection) -> None:
        """Send whatever the uplink gives. A cancel loses nothing: the uplink sends it again."""
        now = asyncio.get_running_loop().time
        self._silent_since = now()
        while True:
            if not self._uplink.unanswered:
                self._silent_since = now()
            frame = self._uplink.next_frame()
            if frame is not None:
                await socket.send(frame)
                continue
            self.changed.clear()
            if now() - self._silent_since > ANSWER_S:
                raise LineError(f"no answer for {ANSWER_S:g} s")
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(ANSWER_S):
                    await self.changed.wait()

    async def _receive(self, socket: ClientConnection) -> None:
        """Take what the service says until it closes normally. A cancel loses nothing."""
        with contextlib.suppress(ConnectionClosedOK):
            while True:
                self._take(await socket.recv())

    def _take(self, frame: str | bytes) -> None:
        if isinstance(frame, str):
            raise WireError("the service sent text; expected frames of bytes")
        self._silent_since = asyncio.get_running_loop().time()
        said, message = self._uplink.news, decode_from_service(frame)
        self._uplink.receive(message)
        self._prove(isinstance(message, Acknowledge))
        if self._uplink.news not in (None, said):
            self._tell(str(self._uplink.news))
        self.changed.set()
        self.taken.set()

    def _prove(self, proven: bool) -> None:
        """A line that was lost stands again once the service has taken something over it.

        A service whose disk is full welcomes a collector as ever and then takes nothing.
        """
        if proven and not self.connected:
            self.connected = True
            self._tell("connected to the service")

    def _tell(self, sentence: str) -> None:
        if self._news is not None:
            self._news(sentence)


def is_transient(error: Exception) -> bool:
    """Whether another try may go better: everything but an address or a token that is wrong."""
    if isinstance(error, InvalidStatus):
        status = error.response.status_code
        return status >= 500 or status in (408, 425, 429)
    return not isinstance(error, InvalidURI)


def raise_first(*results: object) -> None:
    """Raise the first of these that is an error, cancellations left out."""
    for result in results:
        if isinstance(result, Exception):
            raise result
