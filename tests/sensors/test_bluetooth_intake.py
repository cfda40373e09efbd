"""What packets, pauses and new links of one sensor mean, without a radio."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from sensors.bluetooth_intake import SensorIntake, SensorPhase, WornSensor
from sensors.bluetooth_link import BatteryLevel, Linked, Notified, Silent, Unlinked
from sensors.bluetooth_obstacles import LinkLostError, obstacle_of
from sensors.packet_encode import PacketEncoder
from sensors.profile_library import load_profiles
from sensors.source import SamplePacket, StreamStarted
from sensors.wire import StreamReport

AT = "C0:01"
OPEN, KIT = (load_profiles().get(name) for name in ("open-sensor", "thingy-52"))


class Wearing:
    """One sensor and what came of its events."""

    def __init__(self, profile=OPEN, first_tick: int = 0) -> None:
        self.news: list[str] = []
        worn = WornSensor("pelvis", AT, "torsolog 1", profile)
        self.intake = SensorIntake(worn, lambda monotonic_s: monotonic_s, self.news.append)
        self.profile = profile
        self.first_tick = first_tick
        self.events: list = []
        self.restart()

    def restart(self, sequence: int = 0) -> None:
        """The sensor counts anew."""
        self.encoder = PacketEncoder(self.profile, samples_per_packet=8, sequence=sequence)

    def take(self, *events) -> list:
        """What came of these events."""
        found = [meant for event in events for meant in self.intake.take(event)]
        self.events += found
        return found

    def link(self) -> None:
        self.take(Linked(AT))

    def lose_link(self) -> list:
        obstacle = obstacle_of(LinkLostError("gone"), self.intake.worn.called)
        return self.take(Unlinked(AT, obstacle, was_linked=True))

    def send(self, from_s: float, to_s: float, *, late_s: float = 0.0) -> list:
        """Samples taken between two times, each packet delivered as soon as it is full."""
        rate = self.profile.rate_hz
        number = np.arange(round(from_s * rate), round(to_s * rate))
        values = np.tile(number[:, None] % 7 * 0.1, 3)
        tick_s = self.profile.tick_s
        ticks = None if tick_s is None else np.rint(number / rate / tick_s).astype(np.int64)
        if ticks is not None:
            ticks += self.first_tick
        offset = number[0] - self.encoder._first
        packets = self.encoder.encode(values, values, ticks)
        return self.take(
            *(
                Notified(
                    AT,
                    (offset + packet.first + packet.samples) / rate + late_s,
                    packet.characteristic,
                    packet.payload,
                )
                for packet in packets
            )
        )

    @property
    def packets(self) -> list[SamplePacket]:
        return [event for event in self.events if isinstance(event, SamplePacket)]

    @property
    def streams(self) -> list[StreamStarted]:
        return [event for event in self.events if isinstance(event, StreamStarted)]

    @property
    def states(self) -> list[str]:
        return [event.state for event in self.events if isinstance(event, StreamReport)]


def test_a_sensor_that_sends_is_a_stream_with_its_ranges_and_clock():
    sensor = Wearing()
    sensor.link()
    sensor.send(0.0, 2.0)
    (started,) = sensor.streams
    stream = started.stream
    assert (stream.segment, stream.rate_hz, stream.sensor) == ("pelvis", 200.0, "torsolog 1")
    assert (stream.gyro_range_dps, stream.accel_range_g) == pytest.approx((2000.0, 16.0))
    assert stream.tick_s == 1.0 / 32768.0
    assert stream.rate_sample == "instant"
    assert sum(len(packet.ticks) for packet in sensor.packets) == 400
    assert {packet.lost_before for packet in sensor.packets} == {0}
    assert sensor.states == ["streaming"]
    assert sensor.news == ["the pelvis sensor (torsolog 1) sends"]


def test_the_delay_that_a_profile_states_goes_off_the_times():
    starts = []
    for profile in (OPEN, msgspec.structs.replace(OPEN, delay_s=0.004)):
        sensor = Wearing(profile)
        sensor.link()
        sensor.send(0.0, 2.0)
        clock = sensor.streams[0].clock
        starts.append([clock.session_times(one)[0][0] for one in sensor.packets])
    assert np.subtract(*starts) == pytest.approx(0.004, abs=1e-9)


def test_a_short_loss_goes_on_as_the_same_stream_with_its_gap():
    sensor = Wearing()
    sensor.link()
    sensor.send(0.0, 2.0)
    assert [event.state for event in sensor.lose_link()] == ["lost"]
    assert sensor.intake.phase is SensorPhase.LOST
    sensor.link()
    sensor.restart(sequence=125)
    sensor.send(5.0, 6.0)
    assert len(sensor.streams) == 1
    assert [packet.lost_before for packet in sensor.packets if packet.lost_before] == [600]
    assert sensor.states == ["streaming", "lost", "streaming"]
    assert "sends again, 600 samples are missing" in sensor.news[-1]


def test_a_sensor_that_counts_anew_is_a_new_stream_and_keeps_a_clock_that_ran_on():
    sensor = Wearing()
    sensor.link()
    sensor.send(0.0, 2.0)
    sensor.lose_link()
    sensor.link()
    sensor.restart()
    sensor.send(5.0, 6.0)
    first, second = sensor.streams
    assert first.stream.stream_id != second.stream.stream_id
    assert first.clock is second.clock
    gap = sensor.packets[50]
    assert gap.stream_id == second.stream.stream_id
    assert gap.lost_before == pytest.approx(600, abs=8)


def test_a_clock_that_was_set_back_is_learnt_anew():
    sensor = Wearing(first_tick=1_000_000)
    sensor.link()
    sensor.send(0.0, 2.0)
    sensor.lose_link()
    sensor.link()
    sensor.restart()
    sensor.first_tick = -5 * 32768
    sensor.send(5.0, 6.0)
    first, second = sensor.streams
    assert first.clock is not second.clock


def test_a_counter_that_came_round_while_the_link_was_down_is_not_taken_for_a_short_gap():
    """65536 packets of 8 at 200 Hz are 44 minutes; the clock shows that it was more."""
    sensor = Wearing()
    sensor.link()
    sensor.send(0.0, 2.0)
    sensor.lose_link()
    sensor.link()
    sensor.restart(sequence=50)
    sensor.send(2.0 + 65536 * 0.04, 2.4 + 65536 * 0.04)
    assert len(sensor.streams) == 2
    assert sensor.packets[50].lost_before == pytest.approx(65536 * 8, abs=8)


def test_packets_that_the_sensor_kept_over_a_loss_leave_no_gap():
    sensor = Wearing()
    sensor.link()
    sensor.send(0.0, 2.0)
    sensor.lose_link()
    sensor.link()
    sensor.send(2.0, 2.4, late_s=3.0)
    assert len(sensor.streams) == 1
    assert {packet.lost_before for packet in sensor.packets} == {0}


def test_a_sensor_without_counter_and_clock_begins_anew_with_every_link():
    sensor = Wearing(KIT)
    sensor.link()
    sensor.send(0.0, 2.0)
    sensor.lose_link()
    sensor.link()
    sensor.restart()
    sensor.send(5.0, 6.0)
    assert len(sensor.streams) == 2
    assert sensor.streams[0].clock is not sensor.streams[1].clock
    assert [packet.lost_before for packet in sensor.packets if packet.lost_before] == [600]
    assert [int(packet.ticks[0]) for packet in sensor.packets[400:402]] == [0, 1]


def test_a_pause_of_a_sensor_without_counter_and_clock_is_a_gap():
    sensor = Wearing(KIT)
    sensor.link()
    sensor.send(0.0, 2.0)
    sensor.restart()
    sensor.send(3.5, 4.0)
    assert len(sensor.streams) == 2
    assert [packet.lost_before for packet in sensor.packets if packet.lost_before] == [300]


def test_packets_that_are_none_are_passed_over_and_counted():
    sensor = Wearing()
    sensor.link()
    assert sensor.take(Notified(AT, 0.1, OPEN.notify_characteristics[0], b"\x07nonsense")) == []
    sensor.send(0.0, 1.0)
    assert sensor.intake.decoder.counts.faults.total() == 1
    assert sensor.states == ["streaming"]


def test_silence_and_battery_go_with_every_word_on_the_stream():
    sensor = Wearing()
    sensor.link()
    assert sensor.take(BatteryLevel(AT, 55)) == [], "there is no stream to speak of yet"
    sensor.send(0.0, 1.0)
    (silent,) = sensor.take(Silent(AT, 1.1))
    assert (silent.state, silent.battery_percent) == ("silent", 55)
    sensor.send(1.0, 1.2)
    assert sensor.states == ["streaming", "silent", "streaming"]
    (report,) = sensor.take(BatteryLevel(AT, 14))
    assert report.battery_percent == 14
    assert "has 14 % of its battery left" in sensor.news[-1]
    sensor.take(BatteryLevel(AT, 13))
    assert sum("battery" in sentence for sentence in sensor.news) == 1
