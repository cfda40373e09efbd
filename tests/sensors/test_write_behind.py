"""A slow or failing disk holds up nobody, and what it was given stands there in order."""

from __future__ import annotations

import threading

import pytest

from sensors.disk_spool import DiskSpool
from sensors.errors import SpoolError
from sensors.wire import Hello
from sensors.write_behind import WriteBehindSpool

HELLO = Hello(version=1, streams=(), session="s1")


class GatedDisk(DiskSpool):
    """A disk whose writes wait for a gate, and whose chosen writes fail as on a full disk."""

    def __init__(self, folder, fails=lambda _write: False):
        super().__init__(folder, overflow_bytes=0)
        self.gate = threading.Event()
        self.gate.set()
        self.tried = threading.Event()
        self.writes = 0
        self._fails = fails

    def append(self, frame):
        self.gate.wait(10.0)
        self.writes += 1
        self.tried.set()
        if self._fails(self.writes):
            raise SpoolError("no space left")
        super().append(frame)


def frame(number: int) -> bytes:
    return b"%d " % number * (1 + number % 5)


def kept(folder) -> list[bytes]:
    """What stands on the disk, as the next process finds it."""
    spool = DiskSpool(folder)
    frames = [spool.read(n) for n in range(spool.first, spool.end)]
    spool.close(done=False)
    return frames


def test_frames_are_taken_and_read_while_the_disk_writes_nothing(tmp_path):
    disk = GatedDisk(tmp_path / "run")
    spool = WriteBehindSpool(disk)
    spool.keep_hello(HELLO)
    disk.gate.clear()
    for number in range(200):
        spool.append(frame(number))
    assert (disk.writes, spool.unwritten) == (0, 200)
    assert [spool.read(n) for n in range(200)] == [frame(n) for n in range(200)]
    disk.gate.set()
    spool.close(done=False)
    assert kept(tmp_path / "run") == [frame(n) for n in range(200)]


def test_what_waits_for_the_disk_is_bounded_and_nothing_of_it_is_lost(tmp_path):
    disk = GatedDisk(tmp_path / "run")
    spool = WriteBehindSpool(disk, max_bytes=100)
    disk.gate.clear()
    for number in range(10):
        spool.append(b"%010d" % number)
    with pytest.raises(SpoolError, match="wait for the disk"):
        spool.append(b"one more")
    disk.gate.set()
    spool.close(done=False)
    assert kept(tmp_path / "run") == [b"%010d" % n for n in range(10)]


def test_what_the_service_has_already_needs_no_slow_disk(tmp_path):
    disk = GatedDisk(tmp_path / "run")
    spool = WriteBehindSpool(disk, max_bytes=200)
    disk.gate.clear()
    spool.append(b"0" * 10)
    for number in range(1, 10):
        spool.append(b"%010d" % number)
    spool.release(8)
    disk.gate.set()
    spool.append(b"last")
    spool.close(done=False)
    assert disk.writes <= 4
    assert kept(tmp_path / "run")[-3:] == [b"%010d" % 8, b"%010d" % 9, b"last"]


@pytest.mark.parametrize("nth", range(1, 21))
def test_a_write_that_fails_once_is_made_good_in_order(tmp_path, nth):
    disk = GatedDisk(tmp_path / "run", fails=lambda write: write == nth)
    spool = WriteBehindSpool(disk)
    for number in range(20):
        spool.append(frame(number))
    assert [spool.read(n) for n in range(20)] == [frame(n) for n in range(20)]
    spool.close(done=False)
    assert kept(tmp_path / "run") == [frame(n) for n in range(20)]


@pytest.mark.parametrize("nth", range(1, 21))
def test_a_disk_that_fails_for_ever_keeps_what_it_had_and_memory_the_rest(tmp_path, nth):
    disk = GatedDisk(tmp_path / "run", fails=lambda write: write >= nth)
    spool = WriteBehindSpool(disk)
    for number in range(20):
        spool.append(frame(number))
    assert [spool.read(n) for n in range(20)] == [frame(n) for n in range(20)]
    spool.close(done=False)
    assert kept(tmp_path / "run") == [frame(n) for n in range(nth - 1)]


def test_frames_that_left_memory_are_read_from_the_disk(tmp_path):
    spool = WriteBehindSpool(DiskSpool(tmp_path / "run", overflow_bytes=0), recent_bytes=0)
    for number in range(50):
        spool.append(frame(number))
    for _ in range(2):
        assert [spool.read(n) for n in range(50)] == [frame(n) for n in range(50)]
    spool.close(done=True)
    assert not (tmp_path / "run").exists()


def test_a_spool_taken_up_again_goes_on_with_its_numbers(tmp_path):
    first = WriteBehindSpool(DiskSpool(tmp_path / "run"))
    first.keep_hello(HELLO)
    first.append(frame(0))
    first.close(done=False)
    again = WriteBehindSpool(DiskSpool(tmp_path / "run"))
    assert (again.hello, again.first, again.end) == (HELLO, 0, 1)
    again.append(frame(1))
    assert [again.read(n) for n in range(3)] == [frame(0), frame(1), None]
    again.close(done=True)
