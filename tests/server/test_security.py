"""Who may talk to the service, over HTTP and WebSocket."""

from __future__ import annotations

import asyncio
import socket

import httpx
import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import InvalidStatus

from server.app import build_app
from server.errors import SettingsError
from server.settings import Settings, new_token, sqlite_url
from tests.support.running_service import running

TOKEN = "a-long-enough-token-for-tests"


@pytest.fixture
async def guarded(tmp_path):
    """The app as others on the network reach it."""
    settings = Settings(
        sqlite_url(tmp_path / "g.db"), "0.0.0.0", 0, TOKEN, allowed_hosts=("coach.example",)
    )
    app = build_app(settings)
    async with app.router.lifespan_context(app):
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://coach.example") as http:
            yield http


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "localhost", "LOCALHOST:8765", "[::1]", "[::1]:8765", "127.0.0.1:80"]
)
async def test_names_of_this_machine_are_answered(client, host):
    assert (await client.get("/api/health", headers={"host": host})).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "localhost@evil.example", "", "[", "192.168.0.9"],
)
async def test_a_foreign_host_name_is_refused(client, host):
    answer = await client.get("/api/health", headers={"host": host})
    assert answer.status_code == 421
    assert answer.headers["content-type"] == "application/problem+json"


async def test_two_host_headers_are_refused(client):
    request = client.build_request("GET", "/api/health")
    request.headers = httpx.Headers([("host", "127.0.0.1"), ("host", "evil.example")])
    assert (await client.send(request)).status_code == 421


FOREIGN = [
    {"origin": "http://evil.example"},
    {"origin": "null"},
    {"origin": "http://127.0.0.1:9999"},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"origin": "http://127.0.0.1", "sec-fetch-site": "cross-site"},
]


@pytest.mark.parametrize("headers", FOREIGN)
async def test_a_page_of_another_site_changes_nothing(client, headers):
    answer = await client.post("/api/golfers", json={"name": "A"}, headers=headers)
    assert answer.status_code == 403
    assert (await client.get("/api/golfers")).json() == []


@pytest.mark.parametrize(
    "headers", [{}, {"origin": "http://127.0.0.1"}, {"sec-fetch-site": "same-origin"}]
)
async def test_our_own_pages_and_programs_may_write(client, headers):
    answer = await client.post("/api/golfers", json={"name": "A"}, headers=headers)
    assert answer.status_code == 201


async def test_a_foreign_page_may_not_load_data_but_a_link_may_lead_here(client):
    cross = {"sec-fetch-site": "cross-site"}
    assert (await client.get("/api/golfers", headers=cross)).status_code == 403
    link = cross | {"sec-fetch-mode": "navigate"}
    assert (await client.get("/api/golfers", headers=link)).status_code == 200


@pytest.mark.parametrize("channel", ["api/ingest", "api/live"])
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1"])
async def test_a_websocket_from_another_site_is_refused(live_service, channel, origin):
    url = live_service.address.replace("http://", "ws://") + channel
    with pytest.raises(InvalidStatus) as refused:
        async with connect(url, origin=origin):
            pass
    assert refused.value.response.status_code == 403


async def test_a_websocket_of_our_own_page_is_taken(live_service):
    origin = live_service.address.rstrip("/")
    async with connect(live_service.live_address, origin=origin) as socket:
        assert '"hello"' in await asyncio.wait_for(socket.recv(), 5)


async def test_a_websocket_with_a_foreign_host_name_is_refused(live_service):
    port = httpx.URL(live_service.address).port
    with pytest.raises(InvalidStatus) as refused:
        async with connect(f"ws://evil.example:{port}/api/live", host="127.0.0.1", port=port):
            pass
    assert refused.value.response.status_code == 403


async def test_every_answer_says_what_a_page_may_do(client):
    for path in ("/range", "/api/health", "/nothing", "/static/plotly.min.js"):
        headers = (await client.get(path)).headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe-eval" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


async def test_no_other_site_is_told_that_it_may_read(client):
    answer = await client.get("/api/health", headers={"origin": "http://evil.example"})
    assert not [name for name in answer.headers if name.startswith("access-control")]


def test_a_network_address_needs_a_token():
    with pytest.raises(SettingsError, match="others on the network"):
        Settings(host="0.0.0.0")
    with pytest.raises(SettingsError, match="at least 16 characters"):
        Settings(host="0.0.0.0", token="short")
    assert Settings(host="0.0.0.0", token=new_token()).token
    assert Settings(host="::1").token is None


@pytest.mark.parametrize("path", ["/", "/range", "/api/health", "/static/plotly.min.js", "/x"])
async def test_without_the_token_nothing_is_shown(guarded, path):
    answer = await guarded.get(path)
    assert answer.status_code == 401
    assert "token" in answer.json()["detail"]


async def test_a_person_without_the_token_reads_plain_words(guarded):
    answer = await guarded.get("/range", headers={"accept": "text/html,*/*"})
    assert answer.status_code == 401
    assert answer.headers["content-type"].startswith("text/plain")
    assert "open the link with the token" in answer.text


def test_on_the_network_the_service_answers_to_its_own_names():
    names = Settings(
        host="0.0.0.0", token=new_token(), allowed_hosts=("Coach.example",)
    ).host_names()
    assert {"localhost", "127.0.0.1", "::1", "coach.example"} < names
    assert socket.gethostname().lower() in names
    assert Settings().host_names() == {"localhost", "127.0.0.1", "::1"}


def test_a_port_that_is_none_is_refused():
    with pytest.raises(SettingsError, match="expected 0 to 65535, received 70000"):
        Settings(port=70000)


async def test_the_link_with_the_token_leads_to_the_page_without_it(guarded):
    entered = await guarded.get("/swings?session=0123456789ab&token=" + TOKEN)
    assert entered.status_code == 303
    assert entered.headers["location"] == "/swings?session=0123456789ab"
    cookie = entered.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert TOKEN not in cookie
    assert (await guarded.get("/api/golfers")).status_code == 200, "the cookie is enough now"


async def test_the_link_leads_nowhere_else(guarded):
    entered = await guarded.get("http://coach.example//evil.example/?token=" + TOKEN)
    assert entered.headers["location"].startswith("/evil.example/")


@pytest.mark.parametrize("token", ["", "wrong", TOKEN[:-1], TOKEN + "x", "x" * 200])
async def test_a_wrong_token_does_not_open(guarded, token):
    assert (await guarded.get("/", params={"token": token})).status_code == 401
    guarded.cookies.set("torsolog_access", token or "x")
    assert (await guarded.get("/api/golfers")).status_code == 401


async def test_a_collector_shows_the_token_in_a_header(guarded):
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert (await guarded.get("/api/golfers", headers=bearer)).status_code == 200
    wrong = {"authorization": f"Bearer {TOKEN}x"}
    assert (await guarded.get("/api/golfers", headers=wrong)).status_code == 401


@pytest.mark.parametrize("channel", ["api/ingest", "api/live"])
async def test_websockets_ask_for_the_token_too(tmp_path, channel):
    settings = Settings(sqlite_url(tmp_path / "g.db"), "127.0.0.1", 0, TOKEN)
    async with running(settings) as service:
        url = service.address.replace("http://", "ws://") + channel
        with pytest.raises(InvalidStatus):
            async with connect(url):
                pass
        async with connect(url, additional_headers={"authorization": f"Bearer {TOKEN}"}) as socket:
            assert socket.state.name == "OPEN"
