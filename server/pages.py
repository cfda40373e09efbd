"""The pages: plain files of `web`, and plotly.js from the installed plotly package."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from importlib import resources
from pathlib import Path

from fastapi import APIRouter, FastAPI
from fastapi.responses import FileResponse
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

WEB = Path(__file__).parent.parent / "web"
PAGES = {
    "/": "range.html",
    "/range": "range.html",
    "/swings": "swings.html",
    "/sensors": "sensors.html",
}
PLOTLY = "plotly.min.js"
ASK_AGAIN = {"cache-control": "no-cache"}
"""A browser keeps files but asks whether they changed, so that an update shows at once."""


class WebFiles(StaticFiles):
    """Files of `web`, and plotly.js beside them; no Python source or cache."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """A file, or not found."""
        if path == PLOTLY and scope["method"] in ("GET", "HEAD"):
            file = plotly_script()
            response = self.file_response(file, file.stat(), scope)
        elif path.endswith((".py", ".pyc")):
            raise HTTPException(HTTPStatus.NOT_FOUND)
        else:
            response = await super().get_response(path, scope)
        response.headers.update(ASK_AGAIN)
        return response


def plotly_script() -> Path:
    """plotly.js of the installed plotly package."""
    return Path(str(resources.files("plotly"))) / "package_data" / PLOTLY


def install(app: FastAPI) -> None:
    """Add the pages and the files they load."""
    router = APIRouter(include_in_schema=False)
    for address, name in PAGES.items():
        router.add_api_route(address, _page(name), methods=["GET", "HEAD"])
    app.include_router(router)
    app.mount("/static", WebFiles(directory=WEB), name="static")


def _page(name: str) -> Callable[[], FileResponse]:
    def page() -> FileResponse:
        return FileResponse(WEB / name, media_type="text/html", headers=ASK_AGAIN)

    return page
