"""The stored raw samples through the same analysis as live, with the same numbers.

In the order of the commits, and never over a change of a clock's uncertainty, which batches carry;
else it does not matter how the samples are cut.
"""

from __future__ import annotations

from analysis.results import Curves, Swing
from analysis.samples import Segment
from analysis.session import SessionAnalysis, analyse_window
from server.errors import NotFoundError
from server.store import Store, SwingRecord
from server.store.raw import Timelines


def reanalyse(store: Store, session_id: str) -> list[Swing]:
    """Every swing of a session, found again in its raw samples; the store stays as it is.

    Raises NotFoundError.
    """
    facts = store.golfers.facts(store.sessions.get(session_id).golfer_id)
    scales = [one.for_analysis() for one in store.scales.of_session(session_id)]
    analysis = SessionAnalysis(store.swings.calibrations(session_id), facts, scales)
    timelines = Timelines()
    swings: list[Swing] = []
    for batches in store.raw.chunks(session_id):
        for segment, table in timelines.joined(batches):
            swings += analysis.push(segment, table)
    return swings + analysis.finish()


def store_again(store: Store, session_id: str) -> list[Swing]:
    """Analyse a session again and let the store hold exactly what was found."""
    swings = reanalyse(store, session_id)
    for swing in swings:
        store.swings.put(session_id, swing)
    store.swings.drop_after(session_id, len(swings))
    return swings


def swing_again(store: Store, record: SwingRecord) -> Swing:
    """A stored swing computed again, with its curves, from the samples of its window.

    Raises NotFoundError where these samples are not in the store.
    """
    window = record.swing.window
    session_id = record.session.id
    pelvis, upper_back = (
        store.raw.samples(session_id, segment, window.start_s, window.end_s)
        for segment in (Segment.PELVIS, Segment.UPPER_BACK)
    )
    if not (len(pelvis) and len(upper_back)):
        raise NotFoundError("recording of swing", record.id)
    return analyse_window(
        pelvis,
        upper_back,
        window,
        record.swing.number,
        store.swings.calibrations(session_id),
        store.golfers.facts(record.session.golfer_id),
        [one.for_analysis() for one in store.scales.of_session(session_id)],
    )


def curves_of(store: Store, record: SwingRecord) -> Curves:
    """Curves of a stored swing. Raises NotFoundError where they cannot be had."""
    curves = swing_again(store, record).curves
    if curves is None:
        raise NotFoundError("curve of swing", record.id)
    return curves
