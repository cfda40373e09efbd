"""The pages and their files, from our own machine only."""

from __future__ import annotations

import hashlib
from importlib import resources

import pytest


@pytest.mark.parametrize("path", ["/", "/range", "/swings", "/sensors"])
async def test_a_page_is_there(client, path):
    answer = await client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.headers["cache-control"] == "no-cache"


async def test_plotly_is_the_one_of_the_installed_package(client):
    answer = await client.get("/static/plotly.min.js")
    file = resources.files("plotly") / "package_data" / "plotly.min.js"
    assert hashlib.sha256(answer.content).digest() == hashlib.sha256(file.read_bytes()).digest()
    assert answer.headers["content-type"].startswith("text/javascript")
    again = await client.get(
        "/static/plotly.min.js", headers={"if-none-match": answer.headers["etag"]}
    )
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize(
    "path",
    [
        "/static/__init__.py",
        "/static/../server/app.py",
        "/static/%2e%2e/pyproject.toml",
        "/static/",
    ],
)
async def test_only_files_of_the_pages_are_given(client, path):
    assert (await client.get(path)).status_code == 404


async def test_nothing_is_changed_by_get_and_pages_take_no_post(client):
    assert (await client.post("/range")).status_code == 405
