"""Every uncertainty of an analysed swing reaches the CSV and the API, to the last bit."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

from analysis.columns import COLUMNS
from analysis.results import GolferFacts, Handedness, Sex
from server.swing_csv import SwingRow, csv_header, csv_lines
from tests.support.range_sessions import range_session

UNCERTAIN = [column.name for column in COLUMNS if column.has_uncertainty]


def analysed_swing():
    facts = GolferFacts(Handedness.RIGHT, 1.78, 78.0, Sex.MALE)
    return replace(range_session(11), golfer=facts).analysed()[0]


def test_csv_has_a_number_beside_every_number():
    swing = analysed_swing()
    (row,) = csv.DictReader(io.StringIO("".join(csv_lines([SwingRow.of(swing)])), newline=""))
    assert [name for name in csv_header() if name.endswith("_u")] == [f"{n}_u" for n in UNCERTAIN]
    for name in UNCERTAIN:
        assert float(row[f"{name}_u"]) == swing.uncertainty[name] > 0.0, name


async def test_the_service_keeps_and_gives_every_one(client):
    swing = analysed_swing()
    golfer = (await client.post("/api/golfers", json={"name": "Golfer A"})).json()
    session = (await client.post("/api/sessions", json={"golfer_id": golfer["id"]})).json()
    client.app.state.service.store.swings.put(session["id"], swing)
    (given,) = (await client.get(f"/api/sessions/{session['id']}/swings")).json()
    assert given["uncertainty"] == swing.uncertainty
    assert set(given["uncertainty"]) == set(UNCERTAIN)
