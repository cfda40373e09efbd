"""The OpenAPI description: every answer that a client may get is in it."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from server.problems import Problem

TAGS = [
    {"name": "about", "description": "Health of the service and the data dictionary."},
    {"name": "golfers", "description": "Who swings."},
    {"name": "sessions", "description": "Range sessions and the marks in them."},
    {"name": "sensors", "description": "The radio of the service's computer."},
    {"name": "swings", "description": "Numbers, curves and CSV of swings."},
    {
        "name": "change",
        "description": "How much numbers vary in a session, and from one to another.",
    },
]


def install(app: FastAPI) -> None:
    """Describe problems in place of the framework's own validation error."""

    def describe() -> dict[str, Any]:
        if app.openapi_schema is None:
            schema = get_openapi(
                title=app.title,
                version=app.version,
                summary=app.summary,
                routes=app.routes,
                tags=app.openapi_tags,
            )
            schemas = schema.setdefault("components", {}).setdefault("schemas", {})
            for name in ("HTTPValidationError", "ValidationError"):
                schemas.pop(name, None)
            problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
            schemas.update(problem.pop("$defs", {}))
            schemas["Problem"] = problem
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = describe  # type: ignore[method-assign]
