"""Unsent frames: in order, read as often as needed, whole after any crash."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from sensors.disk_spool import DiskSpool, unfinished_runs
from sensors.errors import SpoolError
from sensors.spool import MemorySpool
from sensors.wire import Hello

HELLO = Hello(version=1, streams=(), session="s1")
ROOT = Path(__file__).parents[2]


@pytest.fixture(params=["memory", "disk", "small files"])
def spool(request, tmp_path):
    if request.param == "memory":
        made = MemorySpool()
    else:
        made = DiskSpool(tmp_path / "run", file_bytes=64 if request.param != "disk" else 2**20)
    yield made
    made.close(done=True)
    assert not (tmp_path / "run").exists()


def frame(number: int) -> bytes:
    return f"frame {number}".encode() * (1 + number % 3)


def test_frames_are_numbered_in_order_and_read_as_often_as_needed(spool):
    for number in range(50):
        assert spool.end == number
        spool.append(frame(number))
    for numbers in (range(50), range(49, -1, -1), [7, 7, 30, 3]):
        assert [spool.read(n) for n in numbers] == [frame(n) for n in numbers]
    assert spool.read(50) is None


def test_released_frames_are_let_go_and_later_ones_stay(spool):
    for number in range(50):
        spool.append(frame(number))
    size = spool.kept_bytes
    spool.release(20)
    assert spool.first <= 20
    assert [spool.read(n) for n in range(20, 50)] == [frame(n) for n in range(20, 50)]
    spool.release(50)
    assert spool.kept_bytes <= size
    spool.append(b"next")
    assert spool.end == 51
    assert spool.read(50) == b"next"


def test_a_spool_taken_up_again_has_its_hello_and_frames(tmp_path):
    first = DiskSpool(tmp_path / "run", file_bytes=100)
    first.keep_hello(HELLO)
    for number in range(30):
        first.append(frame(number))
    first.release(12)
    start = first.first
    first.close(done=False)
    again = DiskSpool(tmp_path / "run", file_bytes=100)
    assert (again.hello, again.first, again.end) == (HELLO, start, 30)
    assert [again.read(n) for n in range(12, 30)] == [frame(n) for n in range(12, 30)]
    again.append(b"more")
    assert again.read(30) == b"more"
    again.close(done=True)


def test_files_of_released_frames_are_deleted(tmp_path):
    spool = DiskSpool(tmp_path / "run", file_bytes=1000)
    for number in range(500):
        spool.append(frame(number))
        spool.release(number - 5)
    assert len(list((tmp_path / "run").glob("*.frames"))) <= 2
    assert spool.kept_bytes < 3000
    spool.close(done=True)


@pytest.mark.parametrize("cut", range(1, 21))
def test_a_torn_last_frame_is_dropped_and_said(tmp_path, cut):
    spool = DiskSpool(tmp_path / "run")
    for _ in range(3):
        spool.append(b"x" * 12)
    spool.close(done=False)
    path = next((tmp_path / "run").glob("*.frames"))
    os.truncate(path, 60 - cut)
    again = DiskSpool(tmp_path / "run")
    assert (again.end, again.dropped_bytes) == (2, 20 - cut)
    again.append(b"new")
    assert [again.read(n) for n in range(3)] == [b"x" * 12, b"x" * 12, b"new"]
    again.close(done=True)


def test_a_frame_that_was_changed_is_not_sent_as_if_it_were_whole(tmp_path):
    spool = DiskSpool(tmp_path / "run")
    for number in range(5):
        spool.append(frame(number))
    path = next((tmp_path / "run").glob("*.frames"))
    data = bytearray(path.read_bytes())
    data[30] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(SpoolError, match="is damaged; the file was changed"):
        spool.read(1)
    spool.close(done=True)


def test_damage_in_the_middle_is_said_and_nothing_is_cut(tmp_path):
    spool = DiskSpool(tmp_path / "run", file_bytes=60)
    for number in range(20):
        spool.append(frame(number))
    spool.close(done=False)
    path = sorted((tmp_path / "run").glob("*.frames"))[1]
    os.truncate(path, path.stat().st_size - 1)
    before = {p.name: p.stat().st_size for p in (tmp_path / "run").iterdir()}
    for _ in range(2):
        with pytest.raises(SpoolError, match="is damaged after frame"):
            DiskSpool(tmp_path / "run")
    assert {p.name: p.stat().st_size for p in (tmp_path / "run").iterdir()} == before
    sorted((tmp_path / "run").glob("*.frames"))[1].unlink()
    with pytest.raises(SpoolError, match=r"the file of frame .* is gone"):
        DiskSpool(tmp_path / "run")


def test_a_damaged_hello_is_said(tmp_path):
    spool = DiskSpool(tmp_path / "run")
    spool.keep_hello(HELLO)
    spool.close(done=False)
    (tmp_path / "run/hello").write_bytes(b"\0" * 30)
    with pytest.raises(SpoolError, match="is damaged, so nobody knows whose batches"):
        DiskSpool(tmp_path / "run")


def test_two_collectors_cannot_share_a_folder(tmp_path):
    spool = DiskSpool(tmp_path / "run")
    with pytest.raises(SpoolError, match="another collector is using this folder"):
        DiskSpool(tmp_path / "run")
    spool.close(done=False)
    DiskSpool(tmp_path / "run").close(done=True)


def test_a_folder_that_cannot_be_used(tmp_path):
    (tmp_path / "run").write_text("a file")
    with pytest.raises(SpoolError, match="unsent batches cannot be kept here"):
        DiskSpool(tmp_path / "run")


def test_unfinished_runs_are_those_with_a_hello(tmp_path):
    assert unfinished_runs(tmp_path / "nothing") == []
    for name in ("b", "a"):
        spool = DiskSpool(tmp_path / name)
        spool.keep_hello(HELLO)
        spool.close(done=False)
    os.utime(tmp_path / "a/hello", (1, 1))
    DiskSpool(tmp_path / "empty").close(done=False)
    assert unfinished_runs(tmp_path) == [tmp_path / "a", tmp_path / "b"]


@contextlib.contextmanager
def full_disk(folder: Path, *, room: int = 0):
    """The system refuses to let any file grow beyond the spool's longest file and `room` bytes.

    A write across the limit is cut short by the system itself, as on a disk that runs full.
    """
    resource = pytest.importorskip("resource", reason="needs limits that this system lacks")
    size = max(path.stat().st_size for path in folder.glob("*.frames"))
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + room, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("room", [0, 5, 12])
def test_a_full_disk_loses_nothing_while_memory_lasts(tmp_path, room):
    spool = DiskSpool(tmp_path / "run")
    for number in range(20):
        spool.append(frame(number))
    with full_disk(tmp_path / "run", room=room):
        for number in range(20, 40):
            spool.append(frame(number))
        overflowing = spool.overflowing
        read = [spool.read(n) for n in range(40)]
    assert overflowing
    assert read == [frame(n) for n in range(40)]
    for number in range(40, 60):
        spool.append(frame(number))
    assert not spool.overflowing
    spool.close(done=False)
    again = DiskSpool(tmp_path / "run")
    assert again.dropped_bytes == 0
    assert [again.read(n) for n in range(60)] == [frame(n) for n in range(60)]
    again.close(done=True)


def test_memory_alone_refuses_a_frame_above_its_limit_and_keeps_the_rest():
    spool = MemorySpool(max_bytes=50)
    spool.append(b"a" * 30)
    with pytest.raises(SpoolError, match="give a folder in which unsent batches may wait"):
        spool.append(b"b" * 30)
    spool.append(b"c" * 20)
    assert [spool.read(n) for n in range(2)] == [b"a" * 30, b"c" * 20]


def test_when_memory_is_full_as_well_the_frame_is_refused_and_the_rest_kept(tmp_path):
    spool = DiskSpool(tmp_path / "run", overflow_bytes=50)
    spool.append(b"a" * 20)
    with full_disk(tmp_path / "run"):
        spool.append(b"b" * 20)
        spool.append(b"c" * 20)
        with pytest.raises(SpoolError, match="the disk takes no more"):
            spool.append(b"d" * 20)
    spool.append(b"e" * 20)
    assert [spool.read(n)[:1] for n in range(4)] == [b"a", b"b", b"c", b"e"]
    spool.close(done=True)


WRITER = """
import sys
from pathlib import Path
from sensors.disk_spool import DiskSpool
from sensors.wire import Hello
spool = DiskSpool(Path(sys.argv[1]), file_bytes=5000)
spool.keep_hello(Hello(version=1, streams=(), session="s1"))
for number in range(10**9):
    spool.append(b"%d " % number * (1 + number % 50))
    print(number, flush=True)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL, which this system lacks")
@pytest.mark.parametrize("lines", [1, 57, 400, 1111])
def test_a_killed_process_loses_no_frame_that_it_had_kept(tmp_path, lines):
    """SIGKILL while it writes; the parent knows from its output what was kept for certain."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(tmp_path / "run")],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        for _ in range(lines):
            process.stdout.readline()
        process.kill()
        said = process.stdout.read().split()
    kept = int(said[-1]) if said else lines - 1
    spool = DiskSpool(tmp_path / "run")
    assert spool.hello == HELLO
    assert spool.end >= kept
    for number in range(spool.end):
        assert spool.read(number) == b"%d " % number * (1 + number % 50)
    spool.close(done=True)
