"""From the service to browsers: bounded queues, one a reader, with a stated rule when full.

Traces and status: the newest wins, older ones are dropped. Swings and the like are never dropped
one by one: a reader too slow for them is sent the whole list anew instead.
"""

from __future__ import annotations

import asyncio
from collections import deque

from server.views import LiveMessage, StatusMessage, TraceMessage

QUEUE_LIMIT = 64
"""Messages that wait for one reader before it has to start over."""


class Subscriber:
    """One reader's queue. All calls on the event loop."""

    def __init__(self, session_id: str | None, *, follows: bool) -> None:
        self.session_id = session_id
        self.follows = follows
        """Whether it moves on to the next session that opens."""
        self._messages: deque[LiveMessage] = deque()
        self._newest: dict[str, LiveMessage] = {}
        self._start_over = True
        self._ready = asyncio.Event()
        self._ready.set()

    def put(self, message: LiveMessage | None) -> None:
        """Queue a message by its rule; None: the whole list is to be sent anew. Never waits."""
        if message is None:
            self._messages.clear()
            self._start_over = True
        elif isinstance(message, TraceMessage | StatusMessage):
            self._newest[message.type] = message
        elif not self._start_over:
            self._messages.append(message)
            if len(self._messages) > QUEUE_LIMIT:
                self._messages.clear()
                self._start_over = True
        self._ready.set()

    async def next(self) -> LiveMessage | None:
        """The next message; None: send the whole list anew. A cancel loses nothing."""
        while True:
            await self._ready.wait()
            if self._start_over:
                self._start_over = False
                return None
            if self._messages:
                return self._messages.popleft()
            if self._newest:
                return self._newest.pop(next(iter(self._newest)))
            self._ready.clear()


class Hub:
    """Knows the readers and hands messages to those concerned. All calls on the event loop."""

    def __init__(self) -> None:
        self._subscribers: set[Subscriber] = set()

    def subscribe(self, session_id: str | None, *, follows: bool = False) -> Subscriber:
        """A new reader of a session's messages."""
        subscriber = Subscriber(session_id, follows=follows)
        self._subscribers.add(subscriber)
        return subscriber

    def unsubscribe(self, subscriber: Subscriber) -> None:
        """The reader has gone."""
        self._subscribers.discard(subscriber)

    def publish(self, session_id: str, message: LiveMessage | None) -> None:
        """Hand a message to every reader of the session; None: each starts over."""
        for subscriber in self._subscribers:
            if subscriber.session_id == session_id:
                subscriber.put(message)

    def opened(self, session_id: str, message: LiveMessage) -> None:
        """A session opened: those who follow the open one move on to it."""
        for subscriber in self._subscribers:
            if subscriber.follows:
                subscriber.session_id = session_id
                subscriber.put(message)
