"""Errors as RFC 9457 problem details, from one table."""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.encoders import jsonable_encoder
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.routing import Match

from analysis.errors import AnalysisError
from server.errors import ConflictError, NotFoundError, StoreError, UnusableInputError

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
STATUS_OF: dict[type[Exception], HTTPStatus] = {
    NotFoundError: HTTPStatus.NOT_FOUND,
    ConflictError: HTTPStatus.CONFLICT,
    UnusableInputError: HTTPStatus.UNPROCESSABLE_ENTITY,
    AnalysisError: HTTPStatus.UNPROCESSABLE_ENTITY,
    StoreError: HTTPStatus.SERVICE_UNAVAILABLE,
}


class FaultyField(BaseModel):
    """One value that was not as expected."""

    where: str
    expected: str


class Problem(BaseModel):
    """RFC 9457 problem details."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    errors: list[FaultyField] | None = None


def problem_response(
    status: int,
    detail: str,
    errors: list[FaultyField] | None = None,
    headers: dict[str, str] | None = None,
) -> JSONResponse:
    """Answer that carries a problem."""
    problem = Problem(
        title=HTTPStatus(status).phrase, status=int(status), detail=detail, errors=errors
    )
    return JSONResponse(
        jsonable_encoder(problem, exclude_none=True),
        status_code=int(status),
        headers=headers,
        media_type=MEDIA_TYPE,
    )


def declared(*statuses: HTTPStatus) -> dict[int | str, dict[str, Any]]:
    """`responses` of a route: problems it may answer with, beside the one for bad input."""
    return {
        int(status): {
            "description": status.phrase,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status in (*statuses, HTTPStatus.UNPROCESSABLE_ENTITY)
    }


def install(app: FastAPI) -> None:
    """Let every error of the app end as a problem."""
    for kind, status in STATUS_OF.items():
        app.add_exception_handler(kind, _handler(status))
    app.add_exception_handler(HTTPException, _http_problem)
    app.add_exception_handler(RequestValidationError, _input_problem)
    app.add_exception_handler(Exception, _unforeseen_problem)


def _handler(status: HTTPStatus) -> Any:  # noqa: ANN401 (starlette's own handler type)
    def handle(_request: Request, error: Exception) -> JSONResponse:
        return problem_response(status, str(error))

    return handle


def _http_problem(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    headers = {name.lower(): value for name, value in (error.headers or {}).items()}
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        headers["allow"] = ", ".join(sorted(_methods_of(request))) or headers.get("allow", "")
    return problem_response(error.status_code, str(error.detail), headers=headers)


def _methods_of(request: Request) -> set[str]:
    """Methods of every route on this path; the framework names those of the first one only."""
    found = set()
    for method in ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"):
        scope = dict(request.scope, method=method)
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.routes):
            found.add(method)
    return found


def _input_problem(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    faulty = [
        FaultyField(where=".".join(str(part) for part in one["loc"]), expected=str(one["msg"]))
        for one in error.errors()
    ]
    detail = "; ".join(f"{one.where}: {one.expected}" for one in faulty)
    return problem_response(HTTPStatus.UNPROCESSABLE_ENTITY, detail, faulty)


def _unforeseen_problem(_request: Request, error: Exception) -> JSONResponse:
    log.error("unforeseen error", exc_info=error)
    return problem_response(
        HTTPStatus.INTERNAL_SERVER_ERROR, "The service met an error of its own; see its log."
    )
