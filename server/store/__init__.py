"""The store: one object with a part for each topic."""

from __future__ import annotations

from server.store.database import Database
from server.store.fixings import FixingStore
from server.store.golfers import GolferStore, NewGolfer
from server.store.raw import IncomingBatch, RawStore, incoming
from server.store.scales import ScaleStore
from server.store.sessions import NewSession, SessionStore, SessionSummary
from server.store.swings import SwingRecord, SwingStore
from server.store.sync_checks import SyncCheckStore
from server.store.troubles import TroubleStore
from server.store.whole_sessions import WholeSession, WholeSessionStore

__all__ = [
    "IncomingBatch",
    "NewGolfer",
    "NewSession",
    "SessionSummary",
    "Store",
    "SwingRecord",
    "WholeSession",
    "incoming",
]


class Store:
    """Everything that lasts. Opening it brings the schema to the newest version.

    Raises StoreError where the database cannot be used.
    """

    def __init__(self, url: str) -> None:
        self._database = Database(url)
        self.golfers = GolferStore(self._database)
        self.sessions = SessionStore(self._database)
        self.raw = RawStore(self._database)
        self.swings = SwingStore(self._database)
        self.fixings = FixingStore(self._database)
        self.scales = ScaleStore(self._database)
        self.sync_checks = SyncCheckStore(self._database)
        self.troubles = TroubleStore(self._database)
        self.whole_sessions = WholeSessionStore(self._database)

    @property
    def name(self) -> str:
        """What to call the database in a message."""
        return self._database.name

    def close(self) -> None:
        """Give every connection back."""
        self._database.close()
