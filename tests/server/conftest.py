"""Stores on both databases, the app in process, and the service on a port."""

from __future__ import annotations

import httpx
import pytest

from server.app import build_app
from server.settings import Settings, sqlite_url
from server.store import Store
from tests.support.postgresql import NoPostgresqlError, private_cluster
from tests.support.running_service import running


@pytest.fixture(scope="session")
def postgresql():
    try:
        with private_cluster() as cluster:
            yield cluster
    except NoPostgresqlError as error:
        pytest.skip(f"PostgreSQL: {error}")


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request, tmp_path):
    if request.param == "sqlite":
        return sqlite_url(tmp_path / "torsolog.db")
    return request.getfixturevalue("postgresql").new_database()


@pytest.fixture
def store(database_url):
    store = Store(database_url)
    yield store
    store.close()


@pytest.fixture
def settings(tmp_path):
    return Settings(sqlite_url(tmp_path / "torsolog.db"), port=0)


@pytest.fixture
async def client(settings):
    """HTTP to the app in process, with its tasks running."""
    app = build_app(settings)
    async with app.router.lifespan_context(app):
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as http:
            http.app = app
            yield http


@pytest.fixture
async def live_service(settings):
    """The real service on a free port."""
    async with running(settings) as service:
        yield service
