"""What a collector sends next and what it may forget: decided here, with no socket and no clock.

Frames stand in a spool in the order in which they were made and are sent in that order. A frame is
forgotten when the service has acknowledged it. When the line is lost, sending begins again at the
oldest frame that is not forgotten, and what the service says it has is left out; so every batch is
stored exactly once however often the line breaks.

Use: `connected()` gives the Hello; then `next_frame()` until it gives None, `receive()` for every
frame of the service, `disconnected()` when the line is gone.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import msgspec

from sensors.errors import UplinkError
from sensors.spool import Spool
from sensors.wire import (
    WIRE_VERSION,
    Acknowledge,
    ClockCorrection,
    Corrected,
    Finish,
    FromService,
    Hello,
    Mark,
    Refusal,
    SampleBatch,
    Stream,
    StreamReport,
    Welcome,
    WireError,
    decode_from_collector,
    encode,
)

WINDOW: Final = 48
"""Batches on their way that are not acknowledged; the service lets 64 wait."""
_TRY_AGAIN: Final = frozenset({"store"})
"""Refusals that end the connection and may be gone at the next: the store could not commit."""
_WORDS_ONLY: Final = frozenset({"session-ended", "sent-twice"})
"""Refusals that are news for people; what is sent is still taken."""


class LineError(Exception):
    """This connection is of no more use; another one may be."""


@dataclass(slots=True)
class _Sent:
    """A frame on its way. A mark or the finish has no stream; it is done with what follows it."""

    number: int
    stream_id: str | None
    sequence: int
    done: bool = False


class Uplink:
    """One run's way to the service.

    The state: `session` (known after the first Welcome), `finished` (the service has everything
    and the end), `waiting` (frames the service does not have yet), `news` (the last thing the
    service said to people). `correct`: told what a sync check found; False: that clock takes none.
    """

    def __init__(self, spool: Spool, hello: Hello | None = None, *, window: int = WINDOW) -> None:
        """hello: of a new run; left out, the one in the spool. Raises SpoolError, UplinkError."""
        if hello is not None:
            spool.keep_hello(hello)
        if spool.hello is None:
            raise UplinkError("this spool was never used, there is nothing to send", code="spool")
        self.spool = spool
        self.finished = False
        self.news: str | None = None
        self.correct: Callable[[ClockCorrection], bool] = lambda _found: False
        self._corrected: dict[int, Corrected] = {}
        self._answers: deque[Corrected] = deque()
        self._hello: Hello = spool.hello
        self._window = window
        self._next = spool.first
        self._sent: deque[_Sent] = deque()
        self._has: dict[str, int] = {}
        self._made: dict[str, int] = {}
        self._reports: dict[str, StreamReport] = {}
        self._welcomed = False
        self._say_hello = False
        self._finish_sent = False

    @property
    def session(self) -> str | None:
        """The session that the service put this run in; None: it was not asked yet."""
        return self._hello.session

    @property
    def waiting(self) -> int:
        """Frames that are not acknowledged."""
        return self.spool.end - self._oldest

    @property
    def unanswered(self) -> int:
        """Batches that were sent and are not acknowledged."""
        return sum(sent.stream_id is not None and not sent.done for sent in self._sent)

    @property
    def _oldest(self) -> int:
        return self._sent[0].number if self._sent else self._next

    # from the sensors

    def start_stream(self, stream: Stream) -> None:
        """A stream that batches may now name; it replaces its segment's last. Raises SpoolError."""
        going = [s for s in self._hello.streams if s.segment != stream.segment or self._lacks(s)]
        self._keep(streams=(*going, stream))
        self._say_hello = True

    def append(self, message: SampleBatch | Mark | Finish) -> None:
        """Keep a message until the service has it. Raises SpoolError where it cannot be kept."""
        self.spool.append(encode(message))
        if isinstance(message, SampleBatch):
            self._made[message.stream_id] = message.sequence + 1

    def report(self, report: StreamReport) -> None:
        """Say how a stream is doing; only the newest word of each stream is sent."""
        self._reports[report.stream_id] = report

    # to and from the service

    def connected(self) -> bytes:
        """A connection stands: the frame to send first."""
        self._welcomed = self._say_hello = False
        self._answers.clear()
        return encode(self._hello)

    def next_frame(self) -> bytes | None:
        """The next frame to send; None: nothing until something is received or appended.

        Raises SpoolError where a kept frame is damaged.
        """
        if not self._welcomed:
            return None
        if self._say_hello:
            self._say_hello = False
            return encode(self._hello)
        aside = self._aside()
        if aside is not None:
            return encode(aside)
        while self.unanswered < self._window:
            frame = self.spool.read(self._next)
            if frame is None:
                return None
            number, self._next = self._next, self._next + 1
            if self._on_its_way(number, decode_from_collector(frame)):
                return frame
        return None

    def receive(self, message: FromService) -> None:
        """Take what the service says.

        Raises UplinkError where it will never take what is sent; LineError where another
        connection may help; WireError for what makes no sense at this point.
        """
        if isinstance(message, Refusal):
            self._refused(message)
        elif isinstance(message, Welcome):
            self._welcome(message)
        elif isinstance(message, ClockCorrection):
            self._correct(message)
        else:
            self._acknowledged(message)

    def disconnected(self, *, normally: bool = False) -> None:
        """The connection is gone; normally: the service closed it of its own accord.

        A service closes normally only after a Finish, once it has stored everything.
        """
        if normally and self._finish_sent and all(sent.stream_id is None for sent in self._sent):
            self._sent.clear()
            self.finished = True
        self._welcomed = self._finish_sent = False

    def _keep(self, **changes: object) -> None:
        self._hello = msgspec.structs.replace(self._hello, **changes)
        self.spool.keep_hello(self._hello)

    def _aside(self) -> Corrected | StreamReport | None:
        """What is not kept and goes before what is."""
        if self._answers:
            return self._answers.popleft()
        return self._reports.pop(next(iter(self._reports))) if self._reports else None

    def _lacks(self, stream: Stream) -> bool:
        """Whether batches of a stream are kept that the service does not have, as far as known."""
        made = self._made.get(stream.stream_id)
        return made is None or made > self._has.get(stream.stream_id, 0)

    def _on_its_way(self, number: int, message: object) -> bool:
        """Note a frame as sent; False: the service has it, so it need not go."""
        if isinstance(message, SampleBatch):
            sent = _Sent(number, message.stream_id, message.sequence)
            sent.done = message.sequence < self._has.get(message.stream_id, 0)
        else:
            sent = _Sent(number, None, 0)
            self._finish_sent = self._finish_sent or isinstance(message, Finish)
        self._sent.append(sent)
        if sent.done:
            self._arrived_before(number)
            self._forget()
        return not sent.done

    def _welcome(self, welcome: Welcome) -> None:
        if welcome.version != WIRE_VERSION:
            raise UplinkError(
                f"the service speaks wire version {welcome.version}, this collector "
                f"{WIRE_VERSION}; bring both to the same release",
                code="version",
            )
        for stream_id, wanted in welcome.resume.items():
            if wanted < self._has.get(stream_id, 0):
                raise UplinkError(
                    f"the service has lost batches that it acknowledged: stream {stream_id} "
                    f"stands at {wanted}, it was at {self._has[stream_id]}",
                    code="store",
                )
            self._taken(stream_id, wanted)
        if not self._welcomed:
            # What an earlier connection still had on its way goes again, in order.
            self._next = self._oldest
            self._sent.clear()
        if welcome.session != self._hello.session:
            self._keep(session=welcome.session)
        self._welcomed = True

    def _correct(self, found: ClockCorrection) -> None:
        """Each check once, however often the service sends it; every time it is answered."""
        answer = self._corrected.get(found.check)
        if answer is None:
            answer = Corrected(check=found.check, taken=self.correct(found))
            self._corrected[found.check] = answer
        self._answers.append(answer)

    def _acknowledged(self, acknowledge: Acknowledge) -> None:
        on_their_way = [s.sequence for s in self._sent if s.stream_id == acknowledge.stream_id]
        has = self._has.get(acknowledge.stream_id, 0)
        if acknowledge.sequence >= max([has, *(sequence + 1 for sequence in on_their_way)]):
            raise WireError(
                f"batch {acknowledge.sequence} of stream {acknowledge.stream_id} was "
                "acknowledged, but not sent"
            )
        self._taken(acknowledge.stream_id, acknowledge.sequence + 1)

    def _taken(self, stream_id: str, wanted: int) -> None:
        """The service has every batch of a stream below `wanted`."""
        self._has[stream_id] = max(wanted, self._has.get(stream_id, 0))
        newest = -1
        for sent in self._sent:
            if sent.stream_id == stream_id and sent.sequence < wanted:
                sent.done = True
                newest = sent.number
        self._arrived_before(newest)
        self._forget()

    def _arrived_before(self, number: int) -> None:
        """Marks before a stored batch have arrived as well: frames are taken in order."""
        for sent in self._sent:
            if sent.stream_id is None and sent.number < number:
                sent.done = True

    def _forget(self) -> None:
        while self._sent and self._sent[0].done:
            self._sent.popleft()
        self.spool.release(self._oldest)

    def _refused(self, refusal: Refusal) -> None:
        self.news = refusal.message
        if refusal.code in _WORDS_ONLY:
            return
        if refusal.code in _TRY_AGAIN or (refusal.code == "sequence" and not refusal.fatal):
            raise LineError(refusal.message)
        raise UplinkError(f"the service refuses: {refusal.message}", code=refusal.code)
