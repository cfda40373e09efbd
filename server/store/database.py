"""The engine: pragmas, transactions, migrations. SQLite by default, PostgreSQL by URL."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError
from sqlalchemy.orm import Session

from server.errors import StoreError

BUSY_TIMEOUT_MS = 10_000
MIGRATIONS = Path(__file__).parent.parent / "migrations"
WRITES = "torsolog_writes"
DISK_FULL = "53100"
"""PostgreSQL's disk_full: its manual, appendix A, error codes."""
AWAY = ("08", "57P")
"""Connection exceptions and shutdowns, from the same table; no code: nobody was there to give one.
A full disk ends the whole server where it has no room for its log."""


class Database:
    """One database. Writers of this process go one after another; readers never wait.

    Raises StoreError: a URL that cannot be used, a file that is no database, a database of a
    later version.
    """

    def __init__(self, url: str) -> None:
        self.url = _checked_url(url)
        self._writing = Lock()
        self.engine = _engine(self.url)
        try:
            upgrade(self.engine)
        except DBAPIError as error:
            self.engine.dispose()
            raise StoreError(f"{self.name}: cannot be opened as a database: {error.orig}") from None
        except CommandError:
            self.engine.dispose()
            raise StoreError(
                f"{self.name}: written by a later version of torsolog; install that version"
            ) from None

    @property
    def name(self) -> str:
        """What to call the database in a message: the file, or the URL without password."""
        if self.url.get_backend_name() == "sqlite":
            return self.url.database or ""
        return self.url.render_as_string(hide_password=True)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """One reading transaction: all its queries see the same state.

        Raises StoreError where the database server is away.
        """
        try:
            with Session(self.engine, expire_on_commit=False) as session:
                yield session
        except DBAPIError as error:
            words = _server_away(error)
            if words is None:
                raise
            raise StoreError(words) from error

    @contextmanager
    def write(self) -> Iterator[Session]:
        """One writing transaction; committed to disk when the block ends, or nothing is.

        Raises StoreError where the disk takes nothing or the database server is away.
        """
        try:
            with self._writing, Session(self.engine, expire_on_commit=False) as session:
                session.connection(execution_options={WRITES: True})
                yield session
                session.commit()
        except DBAPIError as error:
            words = _refused_by_the_disk(error) or _server_away(error)
            if words is None:
                raise
            raise StoreError(words) from error

    def close(self) -> None:
        """Give every connection back; SQLite folds its log into the file."""
        self.engine.dispose()


def _refused_by_the_disk(error: DBAPIError) -> str | None:
    """Words for people on a disk that takes nothing; None: it is another fault."""
    code = getattr(error.orig, "sqlite_errorcode", 0) & 0xFF  # the extended codes lie above
    if code == sqlite3.SQLITE_FULL or getattr(error.orig, "sqlstate", None) == DISK_FULL:
        return "the disk with the database is full: free some space on it"
    if code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
        return f"the database cannot be written ({error.orig}): look after its disk"
    return None


def _server_away(error: DBAPIError) -> str | None:
    """Words for people on a database server that does not answer; None: it is another fault."""
    code: str | None = getattr(error.orig, "sqlstate", "")  # "": SQLite, which has no server
    away = isinstance(error, OperationalError) and (code is None or code.startswith(AWAY))
    if not away:
        return None
    return "the database server does not answer: see that it runs and that its disk has room"


def upgrade(engine: Engine) -> None:
    """Bring the schema to the newest version, in one transaction."""
    config = Config()
    config.set_main_option("script_location", MIGRATIONS.as_posix().replace("%", "%%"))
    with engine.connect().execution_options(**{WRITES: True}) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def newest_revision() -> str | None:
    """Identifier of the newest migration in the package."""
    config = Config()
    config.set_main_option("script_location", MIGRATIONS.as_posix().replace("%", "%%"))
    return ScriptDirectory.from_config(config).get_current_head()


def _checked_url(url: str) -> URL:
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise StoreError(
            "database URL: expected sqlite:///FILE or postgresql://USER@HOST/NAME"
        ) from None
    backend = parsed.get_backend_name()
    if backend == "postgresql":
        return parsed.set(drivername="postgresql+psycopg")
    if backend != "sqlite":
        raise StoreError(f"database URL: expected sqlite or postgresql, received {backend}")
    if not parsed.database or parsed.database == ":memory:":
        raise StoreError("database URL: expected a file, sqlite:///FILE")
    return parsed


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "postgresql":
        try:
            return create_engine(url, pool_size=10, max_overflow=30, pool_pre_ping=True)
        except ModuleNotFoundError as error:
            raise StoreError(
                "PostgreSQL needs its driver: pip install 'torsolog[postgresql]'"
            ) from error
    path = Path(str(url.database))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{path}: folder cannot be made: {error.strerror}") from None
    engine = create_engine(url, pool_size=10, max_overflow=30)
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: Any) -> None:  # noqa: ANN401 (driver's own type)
    """WAL with synchronous=FULL: a commit is on the disk when it returns."""
    connection.isolation_level = None  # transactions are begun below, not guessed by the driver
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    """Writers take the write lock at once, so that the busy timeout holds for them."""
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
