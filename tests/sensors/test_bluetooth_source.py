"""Two sensors over the real Bluetooth client and an emulated Bluetooth service."""

from __future__ import annotations

import asyncio

import numpy as np
import pytest

from sensors.bluetooth_identify import SensorsInHand, clearly_moving
from sensors.bluetooth_link import LinkedSensor
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK, bluetooth_rig
from tests.support.counted_samples import QUICK, descriptors, expected, taking, worn

SEGMENT_AT = {PELVIS: "pelvis", UPPER_BACK: "upper_back"}


async def test_two_sensors_at_200_hz_lose_nothing():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        async with taking() as taken:
            await taken.flows("upper_back", 75)
            await taken.flows("pelvis", 1)
            states = {segment: await rig.state(at) for at, segment in SEGMENT_AT.items()}
        for segment, state in states.items():
            numbers = taken.numbers(segment)
            assert numbers == list(range(len(numbers)))
            assert len(numbers) <= expected(state["sent"])[-1] + 8
            assert taken.lost(segment) == 0
            packets = taken.packets[segment]
            received = np.array([packet.received_s for packet in packets])
            rate = 8 * (len(packets) - 1) / (received[-1] - received[0])
            assert rate == pytest.approx(200.0, rel=0.01)
            assert len(taken.streams[segment]) == 1
        for address in SEGMENT_AT:
            state = await rig.state(address)
            assert (state["starts"], state["stops"], state["connected"]) == (1, 1, False)
            assert state["senders"] == 0


@pytest.mark.parametrize("after_loss", ["runs on", "stops", "restarts"])
async def test_a_lost_link_comes_back_by_itself_and_gives_every_sample_once(after_loss):
    async with bluetooth_rig() as rig:
        await rig.add_pair(after_loss=after_loss)
        async with taking() as taken:
            await taken.flows()
            before = descriptors()
            for _ in range(3):
                await rig.order("drop", address=PELVIS)
                await taken.until(lambda: taken.states()[-1] == "lost")
                await taken.flows()
            assert descriptors() == before
            state = await rig.state(PELVIS)
            assert state["senders"] == 1
            numbers = taken.numbers()
            sent = expected(state["sent"])
            assert numbers == sent[: len(numbers)]
            assert len(sent) - len(numbers) <= 16
            assert taken.numbers("upper_back") == list(range(len(taken.numbers("upper_back"))))
        assert taken.states().count("lost") == 3
        assert len(taken.streams["pelvis"]) == (1 if after_loss == "runs on" else 4)
        missing = numbers[-1] + 1 - len(numbers)
        if after_loss == "runs on":
            assert taken.lost() == missing > 0
        else:
            assert missing == 0 < taken.lost()
        assert len(asyncio.all_tasks()) <= 3


def turning(path, peak_dps):
    """Motion of five short, fast turns with pauses between them, as counts in a file."""
    time_s = np.arange(1000) / 200.0
    speed = peak_dps * np.clip(np.sin(2.0 * np.pi * time_s), 0.0, None) ** 4
    gyro = np.zeros((1000, 3), dtype=np.int16)
    gyro[:, 1] = np.rint(speed * 32768.0 / 2000.0)
    np.savez(path, gyro=gyro, accel=np.full((1000, 3), 1200, dtype=np.int16))
    return str(path)


async def test_the_sensor_that_is_turned_in_the_hand_is_told_from_one_that_lies_still(tmp_path):
    async with bluetooth_rig() as rig:
        await rig.add(PELVIS, name="torsolog P", motion=turning(tmp_path / "p.npz", 0.0))
        await rig.add(UPPER_BACK, name="torsolog U", motion=turning(tmp_path / "u.npz", 430.0))
        linked = [LinkedSensor(one.address, one.called, one.profile) for one in worn()]
        async with SensorsInHand(linked, timing=QUICK) as in_hand, asyncio.timeout(10):
            assert set(in_hand.speeds_dps().values()) == {None}
            assert (await in_hand.moved()).address == UPPER_BACK
        for address in SEGMENT_AT:
            state = await rig.state(address)
            assert (state["connected"], state["senders"]) == (False, 0)


@pytest.mark.parametrize(
    ("speeds", "moving"),
    [
        ({"a": 200.0, "b": 5.0}, "a"),
        ({"a": 200.0}, "a"),
        ({"a": 200.0, "b": None}, "a"),
        ({"a": 200.0, "b": 90.0}, None),
        ({"a": 50.0, "b": 1.0}, None),
        ({"a": None, "b": None}, None),
        ({}, None),
    ],
)
def test_only_a_sensor_that_moves_alone_is_told(speeds, moving):
    assert clearly_moving(speeds) == moving


async def test_sensors_that_are_worn_the_wrong_way_round_are_said(tmp_path):
    async with bluetooth_rig() as rig:
        await rig.add(PELVIS, name="torsolog P", motion=turning(tmp_path / "p.npz", 640.0))
        await rig.add(UPPER_BACK, name="torsolog U", motion=turning(tmp_path / "u.npz", 430.0))
        async with taking() as taken:
            await taken.says("worn the wrong way round")
            assert taken.source.swapped
            assert "torsolog sensors --swap" in taken.news[-1]
