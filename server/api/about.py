"""Health of the service and the data dictionary."""

from __future__ import annotations

from importlib.metadata import version

from fastapi import APIRouter

from analysis.columns import COLUMNS
from server.problems import declared
from server.views import ColumnView, HealthView

router = APIRouter(prefix="/api", tags=["about"], responses=declared())


@router.get("/health")
def health() -> HealthView:
    """Whether the service is there, and its version."""
    return HealthView(version=version("torsolog"))


@router.get("/columns")
def columns() -> list[ColumnView]:
    """Every column of a swing in the order of tables and files: name, unit, label, meaning."""
    return [ColumnView.of(column) for column in COLUMNS]
