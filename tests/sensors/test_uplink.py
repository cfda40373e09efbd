"""What is sent next and what may be forgotten, decided without any socket."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from sensors import wire
from sensors.errors import UplinkError
from sensors.spool import MemorySpool
from sensors.uplink import LineError, Uplink
from sensors.wire import Acknowledge, Finish, Hello, Mark, Refusal, Stream, StreamReport, Welcome

HELLO = Hello(version=1, streams=(), golfer="g1")
SEGMENTS = {"p": "pelvis", "u": "upper_back"}


def stream(stream_id: str) -> Stream:
    return Stream(stream_id=stream_id, segment=SEGMENTS[stream_id[0]], sensor="x", rate_hz=100.0)


def batch(stream_id: str, sequence: int) -> wire.SampleBatch:
    one = np.zeros((1, 3))
    return wire.SampleBatch(
        stream_id=stream_id,
        sequence=sequence,
        first_tick=sequence,
        ticks_per_sample=1.0,
        received_s=0.0,
        **wire.pack_arrays(np.array([float(sequence)]), one, one),
    )


def uplink(*names: str, window: int = 8) -> Uplink:
    link = Uplink(MemorySpool(), HELLO, window=window)
    for name in names:
        link.start_stream(stream(name))
    return link


def connect(link: Uplink, **resume: int) -> Hello:
    hello = wire.decode_from_collector(link.connected())
    assert isinstance(hello, Hello)
    link.receive(Welcome(version=1, session="s1", resume=resume))
    return hello


def sent(link: Uplink) -> list[wire.FromCollector]:
    """Everything that the uplink would send now."""
    return [wire.decode_from_collector(frame) for frame in iter(link.next_frame, None)]


def sequences(messages: list[wire.FromCollector]) -> list[tuple[str, int]]:
    return [(m.stream_id, m.sequence) for m in messages if isinstance(m, wire.SampleBatch)]


def test_nothing_goes_before_the_welcome():
    link = uplink("p")
    link.append(batch("p", 0))
    link.connected()
    assert link.next_frame() is None
    link.receive(Welcome(version=1, session="s1", resume={}))
    assert sequences(sent(link)) == [("p", 0)]


def test_frames_go_in_the_order_in_which_they_were_made():
    link = uplink("p", "u")
    mark = Mark(kind="stand", start_s=0.0, end_s=1.0)
    made = [batch("p", 0), batch("u", 0), mark, batch("u", 1), Finish()]
    for message in made:
        link.append(message)
    connect(link)
    assert sent(link) == made


def test_no_more_than_the_window_is_on_its_way():
    link = uplink("p", window=3)
    for i in range(10):
        link.append(batch("p", i))
    connect(link)
    assert sequences(sent(link)) == [("p", 0), ("p", 1), ("p", 2)]
    link.receive(Acknowledge(stream_id="p", sequence=1))
    assert sequences(sent(link)) == [("p", 3), ("p", 4)]
    assert (link.waiting, link.unanswered) == (8, 3)


def test_an_acknowledgement_counts_for_everything_before_it_and_frees_the_spool():
    link = uplink("p", "u")
    for i in range(3):
        link.append(batch("p", i))
        link.append(batch("u", i))
    connect(link)
    sent(link)
    link.receive(Acknowledge(stream_id="p", sequence=2))
    assert link.spool.first == 1, "the other stream's first batch is still needed"
    link.receive(Acknowledge(stream_id="u", sequence=2))
    assert (link.spool.first, link.waiting) == (6, 0)


def test_after_a_lost_line_only_what_the_service_lacks_goes_again():
    link = uplink("p", "u")
    for i in range(3):
        link.append(batch("p", i))
        link.append(batch("u", i))
    connect(link)
    sent(link)
    link.receive(Acknowledge(stream_id="p", sequence=0))
    link.disconnected()
    hello = connect(link, p=2, u=1)
    assert hello.session == "s1", "the second Hello goes on with the session of the first"
    assert sequences(sent(link)) == [("u", 1), ("p", 2), ("u", 2)]


def test_a_mark_goes_again_until_a_batch_behind_it_is_stored():
    link = uplink("p")
    mark = Mark(kind="bow", start_s=0.0, end_s=1.0)
    link.append(batch("p", 0))
    link.append(mark)
    connect(link)
    sent(link)
    link.receive(Acknowledge(stream_id="p", sequence=0))
    link.disconnected()
    connect(link, p=1)
    assert sent(link) == [mark]
    link.append(batch("p", 1))
    assert sequences(sent(link)) == [("p", 1)]
    link.disconnected()
    connect(link, p=2)
    assert sent(link) == []
    assert link.waiting == 0


def test_the_run_is_finished_when_the_service_closes_after_the_finish():
    link = uplink("p")
    link.append(batch("p", 0))
    link.append(Finish())
    connect(link)
    sent(link)
    link.receive(Acknowledge(stream_id="p", sequence=0))
    link.disconnected(normally=True)
    assert link.finished
    assert link.waiting == 0


@pytest.mark.parametrize("normally", [True, False])
def test_a_close_before_everything_is_stored_is_no_finish(normally):
    link = uplink("p")
    link.append(batch("p", 0))
    link.append(Finish())
    connect(link)
    sent(link)
    link.disconnected(normally=normally)
    assert not link.finished
    connect(link, p=0)
    assert [type(m).__name__ for m in sent(link)] == ["SampleBatch", "Finish"]


def test_a_line_that_breaks_after_the_finish_is_no_finish():
    link = uplink("p")
    link.append(batch("p", 0))
    link.append(Finish())
    connect(link)
    sent(link)
    link.receive(Acknowledge(stream_id="p", sequence=0))
    link.disconnected(normally=False)
    assert not link.finished
    connect(link, p=1)
    assert sent(link) == [Finish()]


def test_a_normal_close_without_a_finish_is_a_lost_line():
    link = uplink("p")
    link.append(batch("p", 0))
    connect(link)
    sent(link)
    link.disconnected(normally=True)
    assert not link.finished


def test_a_new_stream_is_named_before_its_batches():
    link = uplink("p")
    connect(link)
    link.start_stream(stream("u"))
    link.append(batch("u", 0))
    messages = sent(link)
    assert isinstance(messages[0], Hello)
    assert [s.stream_id for s in messages[0].streams] == ["p", "u"]
    assert messages[0].session == "s1"
    link.receive(Welcome(version=1, session="s1", resume={"p": 0, "u": 0}))
    link.append(batch("u", 1))
    assert sequences(messages + sent(link)) == [("u", 0), ("u", 1)], "nothing goes twice"


def test_a_sensor_that_starts_again_replaces_its_stream_once_that_is_stored():
    link = uplink("p")
    connect(link)
    link.append(batch("p", 0))
    sent(link)
    link.start_stream(stream("p2"))
    assert [s.stream_id for s in link.spool.hello.streams] == ["p", "p2"], "p is not stored yet"
    link.receive(Acknowledge(stream_id="p", sequence=0))
    link.append(batch("p2", 0))
    sent(link)
    link.receive(Acknowledge(stream_id="p2", sequence=0))
    link.start_stream(stream("p3"))
    assert [s.stream_id for s in link.spool.hello.streams] == ["p3"]


def test_only_the_newest_report_of_a_stream_is_sent():
    link = uplink("p", "u")
    for at_s in (1.0, 2.0, 3.0):
        for name in ("p", "u"):
            link.report(StreamReport(stream_id=name, state="streaming", at_s=at_s, rate_hz=100.0))
    connect(link)
    assert [(m.stream_id, m.at_s) for m in sent(link)] == [("p", 3.0), ("u", 3.0)]


def test_a_spool_taken_up_again_goes_on_where_the_service_stands():
    first = uplink("p")
    connect(first)
    for i in range(4):
        first.append(batch("p", i))
    again = Uplink(first.spool)
    assert again.session == "s1"
    assert connect(again, p=2).golfer == "g1"
    assert sequences(sent(again)) == [("p", 2), ("p", 3)]


def test_an_unused_spool_has_nothing_to_send():
    with pytest.raises(UplinkError, match="never used"):
        Uplink(MemorySpool())


def test_a_service_of_another_version_is_refused():
    link = uplink("p")
    link.connected()
    with pytest.raises(UplinkError, match="wire version 7, this collector 1") as caught:
        link.receive(Welcome(version=7, session="s1", resume={}))
    assert caught.value.code == "version"


def test_a_service_that_lost_what_it_acknowledged_is_said():
    link = uplink("p")
    link.append(batch("p", 0))
    connect(link)
    sent(link)
    link.receive(Acknowledge(stream_id="p", sequence=0))
    link.disconnected()
    link.connected()
    with pytest.raises(UplinkError, match="has lost batches that it acknowledged: stream p"):
        link.receive(Welcome(version=1, session="s1", resume={"p": 0}))


@pytest.mark.parametrize("name", ["p", "stranger"])
def test_an_acknowledgement_of_what_was_not_sent_is_no_message_of_this_protocol(name):
    link = uplink("p")
    link.append(batch("p", 0))
    connect(link)
    with pytest.raises(wire.WireError, match="acknowledged, but not sent"):
        link.receive(Acknowledge(stream_id=name, sequence=5))


@pytest.mark.parametrize(
    ("refusal", "error"),
    [
        (Refusal(code="store", message="disk full", fatal=True), LineError),
        (Refusal(code="sequence", message="hole", stream_id="p", sequence=0), LineError),
        (Refusal(code="session", message="no such session", fatal=True), UplinkError),
        (Refusal(code="batch", message="not finite"), UplinkError),
    ],
)
def test_a_refusal_is_for_good_or_for_this_line_only(refusal, error):
    link = uplink("p")
    connect(link)
    with pytest.raises(error, match=refusal.message):
        link.receive(refusal)


def test_the_end_of_the_session_is_news_and_no_reason_to_stop():
    link = uplink("p")
    link.append(batch("p", 0))
    connect(link)
    link.receive(Refusal(code="session-ended", message="the session has ended"))
    assert link.news == "the session has ended"
    assert sequences(sent(link)) == [("p", 0)]


def test_a_mark_among_batches_that_are_stored_does_not_hold_up_what_follows():
    first = uplink("p")
    connect(first)
    first.append(Mark(kind="stand", start_s=0.0, end_s=1.0))
    for i in range(12):
        first.append(batch("p", i))
    again = Uplink(first.spool, window=3)
    connect(again, p=10)
    assert sequences(sent(again)) == [("p", 10), ("p", 11)]
    again.receive(Acknowledge(stream_id="p", sequence=11))
    assert again.waiting == 0


class AnyCourse(RuleBasedStateMachine):
    """Any order of making, sending, storing, acknowledging and losing the line.

    The service stores in order, drops what it has, and its answers may be lost with the line.
    """

    def __init__(self) -> None:
        super().__init__()
        self.link = uplink("p", "u", window=4)
        self.made = {"p": 0, "u": 0}
        self.stored: dict[str, list[int]] = {"p": [], "u": []}
        self.marks: list[Mark] = []
        self.arrived: list[Mark] = []
        self.connected = False
        self.on_the_line: list[wire.FromCollector] = []
        self.answers: list[wire.FromService] = []

    @rule(name=st.sampled_from("pu"))
    def make(self, name):
        self.link.append(batch(name, self.made[name]))
        self.made[name] += 1

    @rule()
    def mark(self):
        self.marks.append(Mark(kind="stand", start_s=float(len(self.marks)), end_s=1e9))
        self.link.append(self.marks[-1])

    @rule()
    def take_up_in_another_process(self):
        """All that was not in the spool is gone."""
        self.on_the_line.clear()
        self.answers.clear()
        self.link = Uplink(self.link.spool, window=4)
        self.connected = False

    @precondition(lambda self: not self.connected)
    @rule()
    def connect(self):
        self.link.connected()
        resume = {name: len(kept) for name, kept in self.stored.items()}
        self.link.receive(Welcome(version=1, session="s", resume=resume))
        self.connected = True

    @precondition(lambda self: self.connected)
    @rule(count=st.integers(1, 5))
    def send(self, count):
        for _ in range(count):
            frame = self.link.next_frame()
            if frame is not None:
                self.on_the_line.append(wire.decode_from_collector(frame))

    @precondition(lambda self: self.on_the_line)
    @rule()
    def store(self):
        message = self.on_the_line.pop(0)
        if isinstance(message, Mark):
            self.arrived += [message] if message not in self.arrived else []
            return
        if not isinstance(message, wire.SampleBatch):
            return
        kept = self.stored[message.stream_id]
        assert message.sequence == len(kept), "each batch once, in order"
        kept.append(message.sequence)
        self.answers.append(Acknowledge(stream_id=message.stream_id, sequence=message.sequence))

    @precondition(lambda self: self.answers)
    @rule()
    def answer(self):
        self.link.receive(self.answers.pop(0))

    @precondition(lambda self: self.connected)
    @rule(stored_before=st.integers(0, 3))
    def lose_the_line(self, stored_before):
        for _ in range(min(stored_before, len(self.on_the_line))):
            self.store()
        self.on_the_line.clear()
        self.answers.clear()
        self.link.disconnected()
        self.connected = False

    @invariant()
    def nothing_unstored_is_forgotten(self):
        kept = [
            wire.decode_from_collector(self.link.spool.read(number))
            for number in range(self.link.spool.first, self.link.spool.end)
        ]
        for name, made in self.made.items():
            there = {s for n, s in sequences(kept) if n == name} | set(self.stored[name])
            assert there == set(range(made))

    def teardown(self):
        if not self.connected:
            self.connect()
        for _ in range(200):
            self.send(5)
            while self.on_the_line:
                self.store()
            while self.answers:
                self.answer()
        assert {name: len(kept) for name, kept in self.stored.items()} == self.made
        assert self.arrived == self.marks
        assert self.link.unanswered == 0


AnyCourse.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
TestAnyCourse = AnyCourse.TestCase


def test_a_correction_is_taken_once_and_answered_each_time_it_comes():
    link = uplink("u")
    taken = []
    link.correct = lambda found: taken.append(found.offset_s) is None
    found = wire.ClockCorrection(check=7, stream_id="u", offset_s=-0.012, u_s=0.0001)
    assert connect(link).streams == (stream("u"),)
    link.receive(found)
    link.disconnected()
    connect(link)
    assert sent(link) == [], "an answer that was not sent goes when it is asked for again"
    link.receive(found)
    assert sent(link) == [wire.Corrected(check=7, taken=True)]
    assert taken == [-0.012]


def test_a_correction_that_nothing_takes_is_answered_so():
    link = uplink("u")
    connect(link)
    link.receive(wire.ClockCorrection(check=1, stream_id="u", offset_s=0.1, u_s=0.001))
    assert sent(link) == [wire.Corrected(check=1, taken=False)]
