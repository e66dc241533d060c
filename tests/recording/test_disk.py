"""What is written to disk while a display shows, and what is left when the process is killed."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, DiskRecorder, RecordingError, WriteError, load_display
from emulator.recording.recording import load_recording
from emulator.recording.shownon import display_of

SIGN = load_display("sign")
ROOT = Path(__file__).parents[2]


def frames(count, display=SIGN, seed=0):
    shape = (count, display.leds, len(display.chip.channels))
    return np.random.default_rng(seed).integers(0, 256, shape, np.uint8)


@pytest.mark.parametrize("together", [True, False])
def test_what_was_recorded_is_read_again(tmp_path, together):
    drives, times = frames(75), np.arange(75) * 40_000_000 + 7
    with DiskRecorder(tmp_path / "rec", SIGN) as recorder:
        if together:
            recorder.extend(times, drives)
        else:
            for time_ns, shown in zip(times.tolist(), drives, strict=True):
                recorder.append(time_ns, shown)
    found = load_recording(tmp_path / "rec")
    assert (found.times_ns == times).all()
    assert (found.drives == drives).all()
    assert (recorder.drives == drives).all(), "it remembers in memory, too"
    assert (found.lost, found.problems, recorder.lost, recorder.written) == (0, (), 0, 75)
    assert display_of(found).wiring.cell.tolist() == found.cell.tolist()


def test_a_bench_records_to_disk_what_it_shows(tmp_path):
    bench = Bench(SIGN)
    with DiskRecorder(tmp_path / "rec", SIGN, keep=4) as recorder:
        bench.recorder = recorder
        for level in range(100):
            bench.send(np.full(SIGN.picture_shape, level, np.uint8))
            bench.clock.wait_until((level + 1) * 25_000_000)
        shown = bench.picture
    found = load_recording(tmp_path / "rec")
    assert len(found) == 100
    assert len(recorder) <= 8
    np.testing.assert_array_equal(found.cells(99), shown)
    assert found.frame_at(1.0) == 39, "frame 40 begins at 1 s and is latched later"


def test_numpy_and_json_alone_read_it(tmp_path):
    drives, times = frames(30), np.arange(30) * 100_000_000
    with DiskRecorder(tmp_path, SIGN) as recorder:
        recorder.extend(times, drives)
    head, *lines = map(json.loads, (tmp_path / "index.jsonl").read_text().splitlines())
    assert (head["rows"], head["columns"], head["channels"]) == (8, 16, "RGBI")
    chunks = [np.load(tmp_path / line["chunk"], allow_pickle=False) for line in lines]
    assert [line["frames"] for line in lines] == [10, 10, 10], "one chunk a second"
    assert (np.concatenate([c["times_ns"] for c in chunks]) == times).all()
    assert (np.concatenate([c["drives"] for c in chunks]) == drives).all()
    cell = np.load(tmp_path / "layout.npz", allow_pickle=False)["cell"]
    assert (cell == SIGN.wiring.cell).all()


# What README.md promises: numpy and json alone, in a process that has nothing of ours.
READ = """
import json, sys
import numpy as np
folder = sys.argv[1]
head, *lines = [json.loads(line) for line in open(folder + "/index.jsonl", encoding="utf-8")]
chunks = [np.load(f"{folder}/{line['chunk']}", allow_pickle=False) for line in lines]
times_ns = np.concatenate([chunk["times_ns"] for chunk in chunks])
drives = np.concatenate([chunk["drives"] for chunk in chunks])
cell = np.load(folder + "/layout.npz", allow_pickle=False)["cell"]
picture = np.zeros((head["rows"] * head["columns"], drives.shape[2]), np.uint8)
picture[cell] = drives[-1]
assert not [name for name in sys.modules if name.split(".")[0] in ("emulator", "harness", "scenes")]
row, column = 2, 5
print(len(times_ns), times_ns[-1], *picture.reshape(head["rows"], head["columns"], -1)[row, column])
"""


def test_a_process_without_foreglow_reads_it(tmp_path):
    drives = frames(30)
    with DiskRecorder(tmp_path / "rec", SIGN) as recorder:
        recorder.extend(np.arange(30) * 100_000_000, drives)
    ran = subprocess.run(
        [sys.executable, "-I", "-c", READ, str(tmp_path / "rec")],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=True,
    )
    led = int(np.flatnonzero((SIGN.wiring.column == 5) & (SIGN.wiring.row == 2))[0])
    want = [30, 2_900_000_000, *drives[-1, led].tolist()]
    assert [int(word) for word in ran.stdout.split()] == want


def broken_off(folder, after):
    """Record, and raise after so many frames."""
    with DiskRecorder(folder, SIGN) as recorder:
        recorder.extend(np.arange(after), frames(after))
        raise KeyboardInterrupt


def test_what_breaks_off_before_its_first_frame_can_be_tried_again(tmp_path):
    folder = tmp_path / "rec"
    with pytest.raises(KeyboardInterrupt):
        broken_off(folder, 0)
    assert not folder.exists()
    folder.mkdir()
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(KeyboardInterrupt):
        broken_off(folder, 0)
    assert [path.name for path in folder.iterdir()] == ["notes.txt"]
    with pytest.raises(KeyboardInterrupt):
        broken_off(folder, 1)
    assert len(load_recording(folder)) == 1


def test_a_recording_is_not_written_over(tmp_path):
    DiskRecorder(tmp_path, SIGN).close()
    with pytest.raises(WriteError, match="already"):
        DiskRecorder(tmp_path, SIGN)
    assert len(load_recording(tmp_path)) == 0


KILLED = """
import os, sys, numpy as np
from emulator import load_display
from emulator.recording.disk import DiskRecorder
display = load_display("sign")
recorder = DiskRecorder(sys.argv[1], display)
for number in range(10**9):
    recorder.append(number * 20_000_000, np.full((display.leds, 4), number % 251, np.uint8))
    if number == 1234:
        print("here", flush=True)
        sys.stdin.readline()
"""


def test_a_killed_process_loses_at_most_the_last_second(tmp_path):
    folder = tmp_path / "rec"
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == b"here\n"
        process.send_signal(signal.SIGKILL)
        assert process.wait() == -signal.SIGKILL
    finally:
        process.kill()
        for stream in (process.stdin, process.stdout):
            stream.close()
    found = load_recording(folder)
    # Frame 1234 came at 24.68 s: the chunks up to 24 s are there.
    assert found.times_ns.tolist() == [n * 20_000_000 for n in range(1200)]
    assert (found.drives[:, 0, 0] == np.arange(1200) % 251).all()
    assert found.problems == ()


@pytest.mark.slow
def test_a_process_killed_at_any_moment_leaves_whole_seconds(tmp_path):
    # It goes on while it is killed: in the middle of a chunk, or of a line of the index.
    folder = tmp_path / "rec"
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
    )
    try:
        process.stdout.readline()
        process.stdin.write(b"go on\n")
        process.stdin.flush()
        while not (folder / "000100.npz").exists():
            assert process.poll() is None
        process.kill()
        process.wait()
    finally:
        process.kill()
        for stream in (process.stdin, process.stdout):
            stream.close()
    found = load_recording(folder)
    assert found.problems == ()
    assert len(found) >= 100 * 50, "all seconds but those of the last chunks"
    assert found.times_ns.tolist() == [n * 20_000_000 for n in range(len(found))]
    assert len(found) % 50 == 0


# The kernel refuses to let any file of this process grow beyond the limit, as a full disk does.
FULL = """
import resource, signal, sys, numpy as np
from emulator import Bench, load_display
from emulator.recording.disk import DiskRecorder
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
display = load_display("sign")
bench = Bench(display)
bench.recorder = recorder = DiskRecorder(sys.argv[1], display, keep=None)
random = np.random.default_rng(0)
def second():
    for _ in range(20):
        begin = bench.clock.now_ns()
        bench.send(random.integers(0, 256, display.picture_shape, np.uint8))
        bench.clock.wait_until(begin + 50_000_000)
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
second()
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
second(); second()
recorder.close()
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
lost = recorder.lost
second()
recorder.close()
print(lost, recorder.lost, len(recorder), recorder.problem)
"""


def test_a_full_disk_does_not_stop_the_show_and_is_counted(tmp_path):
    ran = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path / "rec")],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=True,
    )
    lost, lost_at_last, shown, *why = ran.stdout.split()
    assert (int(shown), int(lost_at_last)) == (80, int(lost))
    assert int(lost) == 60, "the first second is written when the next one begins"
    assert "File too large" in " ".join(why)
    found = load_recording(tmp_path / "rec")
    assert (len(found), found.lost) == (20, 60)
    assert found.times_ns[0] > 3_000_000_000
    assert not [p for p in os.listdir(tmp_path / "rec") if p.startswith(".")], "nothing half"


def test_half_a_line_in_the_index_is_passed_over_and_mended(tmp_path):
    with DiskRecorder(tmp_path, SIGN) as recorder:
        recorder.extend(np.arange(3), frames(3))
        recorder.close()
        index = tmp_path / "index.jsonl"
        index.write_text(index.read_text() + '{"chunk": "0000')
        assert len(load_recording(tmp_path)) == 3


def broken(tmp_path, name, content):
    with DiskRecorder(tmp_path, SIGN) as recorder:
        recorder.extend(np.arange(3) * 1_000_000_000, frames(3))
    if content is None:
        (tmp_path / name).unlink()
    else:
        (tmp_path / name).write_bytes(content)


def one_array():
    data = io.BytesIO()
    np.save(data, np.arange(3))
    return data.getvalue()


def encrypted():
    """An archive whose member says that it is encrypted: flag bit 0 of APPNOTE.TXT, 4.4.4."""
    data = io.BytesIO()
    np.savez(data, times_ns=np.zeros(1, np.int64))
    archive = bytearray(data.getvalue())
    archive[archive.index(b"PK\x01\x02") + 8] |= 1
    return bytes(archive)


@pytest.mark.parametrize(
    "content", [None, b"", b"PK\x03\x04 nothing", b"\x93NUMPY\x01\x00", one_array(), encrypted()]
)
def test_a_broken_chunk_is_told_and_the_others_are_read(tmp_path, content):
    broken(tmp_path, "000001.npz", content)
    found = load_recording(tmp_path)
    assert found.times_ns.tolist() == [0, 2_000_000_000]
    assert len(found.problems) == 1
    assert "000001.npz" in found.problems[0]


def test_a_chunk_of_objects_is_not_unpickled(tmp_path):
    broken(tmp_path, "000001.npz", b"")
    np.savez(tmp_path / "000001.npz", times_ns=np.array([print], dtype=object), drives=1)
    assert len(load_recording(tmp_path).problems) == 1


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("index.jsonl", None),
        ("index.jsonl", b""),
        ("index.jsonl", b"[1, 2]\n"),
        ("index.jsonl", b'{"version": 2}\n'),
        ("index.jsonl", b"\xff\xfe\x00"),
        ("layout.npz", None),
        ("layout.npz", b"PK"),
        ("layout.npz", one_array()),
        ("layout.npz", encrypted()),
    ],
)
def test_a_broken_head_is_an_error_that_says_so(tmp_path, name, content):
    broken(tmp_path, name, content)
    with pytest.raises(RecordingError, match="Fix"):
        load_recording(tmp_path)


@pytest.mark.parametrize(
    ("key", "value"),
    [("rows", 0), ("rows", "8"), ("columns", 2**40), ("leds", 5), ("channels", "XYZ"),
     ("pitches_mm", [1]), ("pitches_mm", [0, 1]), ("display", 3), ("file", 3)],
)  # fmt: skip
def test_a_head_of_no_display_is_an_error(tmp_path, key, value):
    broken(tmp_path, "other", b"")
    index = tmp_path / "index.jsonl"
    head, *rest = index.read_text().splitlines()
    index.write_text("\n".join([json.dumps(json.loads(head) | {key: value}), *rest]))
    with pytest.raises(RecordingError, match="head of the recording"):
        load_recording(tmp_path)


def test_a_display_that_has_changed_is_told(tmp_path):
    broken(tmp_path, "other", b"")
    with pytest.raises(RecordingError, match="not the display that was recorded"):
        display_of(load_recording(tmp_path), load_display("foyer"))
