"""Who wore the sensors: participants.tsv and participants.json of a BIDS data set."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, cast

from sensors.bids_text import TextTable, read_json, read_table
from sensors.errors import RecordingError

Handedness = Literal["right", "left"]
WearerSex = Literal["male", "female"]

_HANDEDNESS: Final[dict[str, Handedness]] = {
    "right": "right",
    "r": "right",
    "left": "left",
    "l": "left",
}
_SEX: Final[dict[str, WearerSex]] = {"male": "male", "m": "male", "female": "female", "f": "female"}
"""BIDS 1.10, participants file: words and letters in any case; other words mean not known here."""

_LENGTH_UNITS: Final = {"m": 1.0, "cm": 0.01}
_HEIGHT_LIMITS_M: Final = (0.8, 2.6)
_MASS_LIMITS_KG: Final = (15.0, 300.0)
"""Anything outside is a wrong unit or a slip; the smallest and largest adults on record fit in."""


@dataclass(frozen=True, slots=True)
class Wearer:
    """A participant. `label` as in sub-<label>; None: not known. Lengths m, mass kg."""

    label: str
    handedness: Handedness | None = None
    height_m: float | None = None
    mass_kg: float | None = None
    sex: WearerSex | None = None


def read_wearer(root: Path, label: str) -> Wearer:
    """The participant `sub-<label>` of the data set at root; only the label where none is listed.

    Raises RecordingError: a damaged table, a height or mass that no person has.
    """
    path = root / "participants.tsv"
    if not label or not path.is_file():
        return Wearer(label)
    table = read_table(path)
    table.require("participant_id")
    for row, cells in enumerate(table.rows):
        if cells["participant_id"] in (f"sub-{label}", label):
            return _wearer(table, row, label, _units(root / "participants.json"))
    return Wearer(label)


def _wearer(table: TextTable, row: int, label: str, units: dict[str, str]) -> Wearer:
    cells = table.rows[row]
    hand = cells.get("handedness", "").lower()
    if hand not in _HANDEDNESS and hand not in ("", "n/a", "ambidextrous", "a"):
        raise RecordingError(
            f"handedness must be right or left, received {hand!r}", table.path, line=row + 2
        )
    return Wearer(
        label=label,
        handedness=_HANDEDNESS.get(hand),
        height_m=_height_m(table, row, units.get("height")),
        mass_kg=_mass_kg(table, row, units.get("weight", "kg")),
        sex=_SEX.get(cells.get("sex", "").lower()),
    )


def _height_m(table: TextTable, row: int, unit: str | None) -> float | None:
    """Without a unit, above 3 is cm and below is m: no person is 3 m tall, nor 3 cm."""
    value = table.number(row, "height")
    if value is None:
        return None
    factor = _LENGTH_UNITS.get(unit) if unit else (1.0 if value < 3.0 else 0.01)
    low, high = _HEIGHT_LIMITS_M
    if factor is None or not low <= value * factor <= high:
        raise RecordingError(
            f"height {value:g} {unit or ''} is not {low:g} to {high:g} m; give it in m or cm",
            table.path,
            line=row + 2,
        )
    return value * factor


def _mass_kg(table: TextTable, row: int, unit: str) -> float | None:
    value = table.number(row, "weight")
    if value is None:
        return None
    low, high = _MASS_LIMITS_KG
    if unit != "kg" or not low <= value <= high:
        raise RecordingError(
            f"weight {value:g} {unit} is not {low:g} to {high:g} kg; give it in kg",
            table.path,
            line=row + 2,
        )
    return value


def _units(path: Path) -> dict[str, str]:
    """Column -> unit, of those columns to which participants.json gives one."""
    if not path.is_file():
        return {}
    described = {
        column: cast(dict[str, object], entry).get("Units")
        for column, entry in read_json(path).items()
        if isinstance(entry, dict)
    }
    return {column: unit for column, unit in described.items() if isinstance(unit, str)}
