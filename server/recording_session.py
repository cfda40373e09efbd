"""A recording as a stored session: its samples in batches as a collector would have sent them."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from datetime import timedelta

from sensors.batching import MAX_BATCH_SPAN_S, Batcher
from sensors.recording import SensorRecording
from sensors.replay import packets_of, stream_of
from sensors.wire import SampleBatch, Stream
from server.recording_analysis import RecordingAnalysis
from server.store import NewSession
from server.store.whole_sessions import WholeSession


def whole_session(found: RecordingAnalysis, new: NewSession) -> WholeSession:
    """Everything of an analysed recording, ready for the store. Session time is recording time."""
    recording = found.recording
    sensors = (recording.pelvis, recording.upper_back)
    streams = [stream_of(sensor) for sensor in sensors]
    pairs = zip(found.calibrations, found.calibrated_by, strict=True)
    return WholeSession(
        session=new,
        ended_at=new.started_at + timedelta(seconds=max(0.0, recording.end_s)),
        streams=streams,
        batches=_in_order(sensors, streams, recording.start_s),
        marks=recording.marks,
        calibrations=[(calibration, stand, bow) for calibration, (stand, bow) in pairs],
        swings=found.swings,
    )


def _in_order(
    sensors: Sequence[SensorRecording], streams: Sequence[Stream], start_s: float
) -> Iterator[SampleBatch]:
    """Batches of both sensors in the order in which they would have come in."""
    both = (
        batches(sensor, stream, start_s) for sensor, stream in zip(sensors, streams, strict=True)
    )
    return heapq.merge(*both, key=lambda batch: batch.received_s)


def batches(sensor: SensorRecording, stream: Stream, start_s: float) -> Iterator[SampleBatch]:
    """A recorded sensor's samples as batches of `stream`. start_s: where the recording begins."""
    batcher = Batcher(stream, span_s=MAX_BATCH_SPAN_S)
    for packet in packets_of(sensor, stream.stream_id, start_s, MAX_BATCH_SPAN_S):
        if packet.time_s is not None:
            yield from batcher.add(packet, packet.time_s)
    yield from batcher.flush()
