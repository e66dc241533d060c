"""`foreglow run` in use: real processes, real signals, and a dark wall at the end."""

from __future__ import annotations

import logging
import os
import re
import select
import signal
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import psutil
import pytest

import emulator
from emulator import RealClock, load_display
from emulator.ports.memory import MemoryOutput
from emulator.ports.serial.board import Board
from emulator.ports.serial.terminal import SerialPty
from emulator.recording.recording import load_recording
from emulator.signal.capture import decode_capture
from emulator.signal.vcd import read_vcd
from harness.cli.options import seconds
from harness.show.scene.lineage import descendants
from harness.show.scene.process import ProcessPlayer, memory_of
from harness.show.scene.said import Said
from tests.tables import telling

ROOT = Path(emulator.__file__).parent.parent
linux = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="prctl(2) and the rest are Linux's"
)
PATIENCE_S = 30  # for a program that does not end; what is tested takes a second or two

WALL = """
[grid]
columns = 4
rows = 2
[chip]
part = "WS2812B"
[wiring]
[controller]
frame_rate = 50
"""

HEAD = """
import os, pathlib, sys
import numpy as np
from emulator.errors import SourceError
def lit(display):
    return np.full(display.picture_shape, 100, np.uint8)
"""

# Prints what cannot get into its answers, and finds nothing to read.
STEADY = (
    HEAD
    + """
assert sys.stdin.read() == ""
os.write(1, b"P" * 5000)
def picture(time_s, display):
    if not time_s or time_s > 0.5:
        print("on" if not time_s else "still on", "a" * 100, flush=True)
    return lit(display)
"""
)

BUSY = (
    HEAD
    + """
def picture(time_s, display):
    if time_s:
        print("busy", os.getpid(), flush=True)
        while True:
            pass
    return lit(display)
"""
)

DIES_ONCE = (
    HEAD
    + """
mark = pathlib.Path("died")
def picture(time_s, display):
    if mark.exists() and time_s > float(mark.read_text()):
        print("again", flush=True)
    elif time_s:
        mark.write_text(str(time_s + 0.5))
        os._exit(3)
    return lit(display)
"""
)

RAISES = (
    HEAD
    + """
def picture(time_s, display):
    if time_s:
        raise ValueError("the seventh lamp")
    return lit(display)
"""
)

# Starts processes that do not end with its group, and then computes without end. The reader of the
# pipe `held` sees its end when all of these processes have ended.
HELD = (
    HEAD
    + """
import subprocess, time
held = os.open("held", os.O_WRONLY)
def picture(time_s, display):
    if time_s:
        subprocess.Popen(["sleep", "600"], start_new_session=True, pass_fds=[held])
        if not os.fork():
            os.setsid()
            time.sleep(600)
        print("busy", flush=True)
        while True:
            pass
    return lit(display)
"""
)

OTHER = """
import numpy as np
asked = 0
def picture(time_s, display):
    global asked
    asked += 1
    if asked == 3:
        print("the other is on", flush=True)
    return np.full(display.picture_shape, 200, np.uint8)
"""

LOST = (
    HEAD
    + """
lost = 0
def picture(time_s, display):
    global lost
    lost += 1
    if 1 < lost < 20:
        raise SourceError("the lens cap is on")
    if lost == 25:
        print("found again", flush=True)
    return lit(display)
"""
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "wall.toml").write_text(WALL)
    return tmp_path


def started(folder, scene, *words, before=""):
    """`foreglow run wall.toml scene.py …` in a folder; its lines come on standard error."""
    (folder / "scene.py").write_text(scene)
    # Signals as in a terminal, whatever starts these tests.
    main = (
        f"{before}import signal; signal.signal(signal.SIGHUP, signal.SIG_DFL);"
        "signal.signal(signal.SIGINT, signal.default_int_handler);"
        "from harness.cli import main; main()"
    )
    show = subprocess.Popen(
        [sys.executable, "-c", main, "run", "wall.toml", "scene.py", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    show.limit = threading.Timer(2 * PATIENCE_S, show.kill)  # so the test cannot hang
    show.limit.daemon = True
    show.limit.start()
    return show


def ended(show):
    """Its exit status and the rest of its lines."""
    try:
        _, lines = show.communicate(timeout=PATIENCE_S)
    finally:
        show.limit.cancel()
        show.kill()
        show.wait()
    return show.returncode, lines


def line_with(show, words):
    """Its first line that has the words; fails at its end."""
    for line in show.stderr:
        if words in line:
            return line
    raise AssertionError(f"it ended without '{words}'")


def levels(folder):
    """What LED 0 got in each frame of trace.vcd: its green byte."""
    display = load_display(str(folder / "wall.toml"))
    capture = decode_capture(read_vcd(folder / "trace.vcd").waveforms, display.chip)
    assert capture.verdict == "pass"
    frames = [frame.leds(display.chip) for frame in capture.lines[0].frames]
    assert all(frame.shape == (8, 3) for frame in frames)
    assert all(np.unique(frame).size == 1 for frame in frames)
    shown = [int(frame[0, 0]) for frame in frames]
    while len(shown) > 1 and not shown[0]:
        shown.pop(0)  # dark until the scene is loaded, which takes long on a busy machine
    return shown


# sRGB 100 is 0.127 of full light (IEC 61966-2-1, ((100/255 + 0.055)/1.055)^2.4 = 0.1274): 32.
LIT = 32


@pytest.mark.slow
@pytest.mark.parametrize(
    "number",
    telling(
        [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], lambda number: number is signal.SIGTERM
    ),
)
def test_a_signal_ends_the_show_dark_even_while_the_scene_computes(number, folder):
    show = started(folder, BUSY, "--to", "vcd:trace.vcd")
    scene = int(line_with(show, "busy").split()[-1])
    show.send_signal(number)
    status, lines = ended(show)
    assert status == 0, lines
    assert "the wall is dark" in lines
    shown = levels(folder)
    assert set(shown[:-1]) == {LIT}
    assert shown[-1] == 0
    with pytest.raises(ProcessLookupError):  # killed, and its status taken
        os.kill(scene, 0)


def test_its_time_over_the_show_ends_dark(folder):
    words = ("--to", "vcd:trace.vcd", "--for", "0.5s", "--log", "show.log", "--record", "rec")
    status, lines = ended(started(folder, STEADY, *words))
    assert status == 0, lines
    shown = levels(folder)
    assert set(shown[:-1]) == {LIT}
    assert shown[-1] == 0
    log = (folder / "show.log").read_text()
    assert "scene.py on wall, to vcd:trace.vcd, 50 frames/s" in log
    assert "its time is over; the wall is dark" in log
    assert "restarts of scenes: 0" in log  # what it printed and wrote damaged no answer
    # What was shown is kept, with the dark at the end.
    recording = load_recording(folder / "rec")
    levels_kept = recording.stored[:][:, 0, 0].tolist()
    assert levels_kept[0] == LIT
    assert levels_kept[-1] == 0
    assert f"{len(recording)} frames recorded in rec" in lines
    assert np.diff(recording.times_ns[:-1]).min() >= 20_000_000  # 50 frames/s, on their times
    assert recording.times_ns[0] == 0


@pytest.mark.slow
def test_a_full_disk_beside_the_wall_does_not_end_the_show(folder):
    # setrlimit(2), RLIMIT_FSIZE: a write beyond fails, as on a full disk, but with EFBIG.
    words = ("--to", "memory:", "--to", "vcd:trace.vcd", "--for", "2s")
    limited = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000));"
    status, lines = ended(started(folder, STEADY, *words, before=limited))
    assert status == 0, lines
    assert "vcd:trace.vcd has failed and is left out: WriteError" in lines
    assert "its time is over; the wall is dark" in lines
    assert int(re.search(r"(\d+) frames \(", lines)[1]) > 50  # 5 KB a frame would be some 20
    assert sorted(path.name for path in folder.iterdir()) == ["scene.py", "wall.toml"]


@pytest.mark.slow
def test_a_scene_saved_during_the_show_does_not_change_it(folder):
    show = started(folder, STEADY, "--to", "vcd:trace.vcd")
    line_with(show, "on a")
    (folder / "scene.py").write_text(STEADY.replace("100", "200"))
    line_with(show, "still on")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    assert set(levels(folder)[:-1]) == {LIT}


@pytest.mark.slow
def test_a_scene_whose_process_dies_is_started_again(folder):
    show = started(folder, DIES_ONCE, "--to", "vcd:trace.vcd")
    assert "its process ended with status 3" in line_with(show, "is out")
    line_with(show, "again")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    assert "restarts of scenes: 1" in lines
    assert levels(folder)[-1] == 0


@pytest.mark.slow
def test_a_scene_that_raises_is_told_with_its_traceback_and_the_other_one_is_shown(folder):
    (folder / "other.py").write_text(OTHER)
    show = started(folder, RAISES, "--to", "vcd:trace.vcd", "--otherwise", "other.py")
    assert "ValueError: the seventh lamp" in line_with(show, "is out")
    assert 'scene.py", line' in line_with(show, "in picture")
    line_with(show, "the other is on")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    shown = levels(folder)
    # sRGB 200 is 0.578 of full light by the same formula: 147.
    assert shown[0] == LIT
    assert 147 in shown
    assert shown[-1] == 0


@pytest.mark.slow
def test_a_source_without_a_picture_keeps_its_process(folder):
    show = started(folder, LOST, "--to", "memory:")
    assert "no picture now: the lens cap is on" in line_with(show, "is out")
    line_with(show, "found again")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    assert "restarts of scenes: 0" in lines


@pytest.mark.slow
def test_on_a_serial_board_the_last_frame_latched_is_dark(folder):
    board = MemoryOutput(load_display(str(folder / "wall.toml")))
    with SerialPty(Board(board, 2_000_000), RealClock()) as pty:
        show = started(folder, STEADY, "--to", f"serial://{pty.path}")
        limit_ns = pty.clock.now_ns() + PATIENCE_S * 10**9
        pty.run(lambda: not board.bench.drives.any() and pty.clock.now_ns() < limit_ns)
        show.terminate()
        pty.run(lambda: show.poll() is None and pty.clock.now_ns() < limit_ns)
        status, lines = ended(show)
    assert status == 0, lines
    levels_shown = board.bench.frames.max(axis=(1, 2)).tolist()
    assert LIT in levels_shown
    assert levels_shown[-1] == 0


@pytest.fixture
def held(folder):
    """A pipe with a name, that HELD and all it starts have open for writing."""
    os.mkfifo(folder / "held")
    reader = os.open(folder / "held", os.O_RDONLY | os.O_NONBLOCK)
    yield reader
    os.close(reader)


def nobody_holds(held):
    """Whether all of them end soon."""
    ending = select.poll()
    ending.register(held, 0)  # POLLHUP always comes when the last writer has gone: poll(2)
    return bool(ending.poll(1000 * PATIENCE_S))


@pytest.mark.slow
def test_what_a_hung_scene_has_started_ends_with_it_and_does_not_hold_up_the_show(folder, held):
    show = started(folder, HELD, "--to", "vcd:trace.vcd", "--patience", "0.2s")
    assert "no answer for 0.2 s" in line_with(show, "is out")
    assert nobody_holds(held)
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    assert levels(folder)[-1] == 0


@pytest.mark.slow
def test_a_scene_in_an_endless_loop_ends_when_the_show_is_killed(folder, held):
    scene = BUSY.replace("if time_s:", "os.open('held', os.O_WRONLY)\n    if time_s:")
    show = started(folder, scene, "--to", "memory:")
    line_with(show, "busy")
    show.kill()
    assert nobody_holds(held)
    ended(show)


@pytest.mark.slow
def test_a_board_that_is_unplugged_at_the_end_is_not_said_to_be_dark(folder):
    board = MemoryOutput(load_display(str(folder / "wall.toml")))
    with SerialPty(Board(board, 2_000_000), RealClock()) as pty:
        show = started(folder, STEADY, "--to", f"serial://{pty.path}")
        limit_ns = pty.clock.now_ns() + PATIENCE_S * 10**9
        frames = board.bench.recorder
        pty.run(lambda: not len(frames) and pty.clock.now_ns() < limit_ns)
    line_with(show, "the serial link has failed")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    assert "the wall may be lit" in lines
    assert "outages of outputs: 1" in lines
    assert int(re.search(r"(\d+) lost on the link", lines)[1]) > 0


LOSING = (
    HEAD
    + """
from emulator.picture.mix import Fallback
lost = 0
def lens(time_s, display):
    global lost
    lost += 1
    if lost == 2:
        print("printed by the scene", file=sys.stderr)
    if lost in (2, 3):
        raise SourceError("the lens cap is on")
    return lit(display)
picture = Fallback(lens, lambda time_s, display: lit(display), retry_s=0.05)
"""
)


@pytest.mark.slow
def test_what_the_sources_of_a_scene_tell_is_in_the_log_with_its_time(folder):
    show = started(folder, LOSING, "--to", "memory:", "--log", "show.log")
    line_with(show, "lens is back")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    log = (folder / "show.log").read_text()
    for words in (
        "printed by the scene",
        "lens failed, the other source shows: .*the lens cap is on",
        "lens is back after",
    ):
        assert re.search(rf"^\d{{4}}-\d\d-\d\d \d\d:\d\d:\d\d scene.py: {words}", log, re.M), log


FLOOD = (
    HEAD
    + """
def picture(time_s, display):
    if not time_s:
        for _ in range(10):
            os.write(2, b"a flood\\n" * 2000)
    return lit(display)
"""
)


@pytest.mark.slow
def test_a_scene_that_prints_without_end_neither_hangs_nor_fills_the_log(folder):
    # 160 kB: far more than the 64 KiB that a pipe holds, pipe(7).
    words = ("--to", "vcd:trace.vcd", "--for", "0.5s", "--log", "show.log")
    status, lines = ended(started(folder, FLOOD, *words))
    assert status == 0, lines
    assert set(levels(folder)[:-1]) == {LIT}
    log = (folder / "show.log").read_text()
    told = log.count("a flood")
    left_out = [int(count) for count in re.findall(r"scene.py: (\d+) lines left out", log)]
    assert told + sum(left_out) == 20_000
    assert len(log) < 10_000  # 20 lines, or twice so many should it take more than a minute


# A process that leaves its parent and its group keeps what it has inherited.
AWAY = (
    HEAD
    + """
if not os.fork():
    os.setsid()
    if not os.fork():
        import time
        print("away", os.getpid(), file=sys.stderr, flush=True)
        time.sleep(600)
    os._exit(0)
os.wait()
def picture(time_s, display):
    return lit(display)
"""
)


def player_of(folder, scene, **more):
    (folder / "scene.py").write_text(scene)
    wall, name = str(folder / "wall.toml"), str(folder / "scene.py")
    clock = RealClock()
    return ProcessPlayer(wall, name, load_display(wall), Said("scene.py", clock), **more), clock


def first_answer(player, clock, time_s=0.0):
    player.ask(time_s)
    until_ns = clock.now_ns() + PATIENCE_S * 10**9
    while (picture := player.take()) is None and clock.now_ns() < until_ns:
        clock.wait_until(clock.now_ns() + 10**7)
    return picture


def test_a_scene_at_half_speed_is_asked_for_half_the_time(folder):
    tells = HEAD + "def picture(time_s, display):\n    return lit(display) // 100 * round(time_s)\n"
    player, clock = player_of(folder, tells, speed=0.5)
    try:
        picture = first_answer(player, clock, 40.0)
    finally:
        player.close()
    assert np.unique(picture).tolist() == [20]


@linux
def test_no_thread_no_pipe_and_no_process_is_left_of_a_scene(folder, caplog):
    caplog.set_level(logging.INFO, "foreglow.show")
    before, files = set(threading.enumerate()), len(os.listdir("/proc/self/fd"))
    player, clock = player_of(folder, AWAY)
    assert first_answer(player, clock) is not None
    player.close()
    for thread in set(threading.enumerate()) - before:
        thread.join(PATIENCE_S)
    assert set(threading.enumerate()) <= before
    assert len(os.listdir("/proc/self/fd")) <= files
    away = re.search(r"scene.py: away (\d+)", caplog.text)
    with pytest.raises(ProcessLookupError):
        os.kill(int(away[1]), 0)


# Holds the interpreter's lock, and so every thread of its process, in a call of C.
LOCKED = BUSY.replace(
    "while True:\n            pass", "import ctypes; ctypes.PyDLL(None).sleep(600)"
)


@pytest.mark.slow
@linux
@pytest.mark.parametrize(
    "scene",
    telling(
        [LOCKED, HELD.replace("while True:\n            pass", "LOCK")],
        lambda scene: scene is not LOCKED,
    ),
)
def test_nothing_of_a_scene_that_holds_the_interpreter_outlives_a_show_that_is_killed(
    scene, folder, held
):
    scene = scene.replace("LOCK", "import ctypes; ctypes.PyDLL(None).sleep(600)")
    if "held" not in scene:
        scene = scene.replace("if time_s:", "os.open('held', os.O_WRONLY)\n    if time_s:", 1)
    assert "PyDLL" in scene
    show = started(folder, scene, "--to", "memory:")
    line_with(show, "busy")
    show.kill()
    assert nobody_holds(held)
    ended(show)


@pytest.mark.slow
@linux
def test_a_scene_whose_keeper_is_killed_ends_too_and_is_started_again(folder, held):
    scene = LOCKED.replace("if time_s:", "os.open('held', os.O_WRONLY)\n    if time_s:", 1)
    show = started(folder, scene, "--to", "memory:", "--patience", "60s")
    number = int(line_with(show, "busy").split()[-1])
    psutil.Process(number).parent().kill()
    assert "its process was ended by signal 9" in line_with(show, "is out")
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines


# One that comes back into the show's loop, one that os.fork does not know of, one that lives on.
FORKS = (
    HEAD
    + """
import ctypes, time
me = os.getpid()
def picture(time_s, display):
    if os.getpid() != me:
        return np.zeros(display.picture_shape, np.uint8)
    if time_s and int(time_s * 50) % 5 == 0:
        os.fork()
        ctypes.CDLL(None).fork()
    if 0.1 < time_s < 0.15 and not os.fork():
        os.write(3, b"P" * 100); os.write(4, b"P" * 100); os.write(5, b"P" * 100)
        time.sleep(600)
    return lit(display)
"""
)


@pytest.mark.slow
@linux
def test_a_fork_of_the_scene_reaches_no_pipe_of_the_show(folder):
    words = ("--to", "vcd:trace.vcd", "--for", "1s")
    status, lines = ended(started(folder, FORKS, *words))
    assert status == 0, lines
    assert "restarts of scenes: 0" in lines
    assert set(levels(folder)[:-1]) == {LIT}


GROWS = (
    HEAD
    + """
kept = []
def picture(time_s, display):
    if time_s:
        kept.append(np.ones(1 << 18))  # 2 MiB, at 50 frames/s
    return lit(display)
"""
)


@linux
@pytest.mark.slow
@pytest.mark.parametrize(
    ("scene", "told"),
    [
        (GROWS, r"it takes \d+ MB of memory; --memory allows 200 MB"),
        (GROWS.replace("1 << 18", "1 << 29"), "Unable to allocate 4.00 GiB"),
    ],
)
def test_a_scene_that_takes_too_much_memory_is_started_again(scene, told, folder):
    show = started(folder, scene, "--to", "memory:", "--memory", "200MB")
    assert re.search(told, line_with(show, "is out")), told
    assert re.search(told, line_with(show, "is out, starting it again in 2 s")), told
    show.terminate()
    status, lines = ended(show)
    assert status == 0, lines
    assert re.search(r"restarts of scenes: [1-9]", lines)


@pytest.mark.slow
@linux
def test_memory_that_forks_share_counts_once(folder):
    scene = (
        HEAD
        + """
big = np.ones(1 << 24)  # 128 MiB
for _ in range(4):
    if not os.fork():
        import time
        time.sleep(600)
def picture(time_s, display):
    return lit(display)
"""
    )
    player, clock = player_of(folder, scene)
    with player:
        assert first_answer(player, clock) is not None
        taken = descendants(psutil.Process(player._process.pid))
        assert len(taken) == 5
        assert memory_of(taken, 10**12) > 5 * 128 << 20  # all of each
        assert 128 << 20 < memory_of(taken, 0) < 2 * 128 << 20


def test_what_cannot_begin_is_bad_input(foreglow, tmp_path):
    (tmp_path / "broken.py").write_text("def picture(:\n")
    for words, told in [
        (("foyer", "clok"), "did you mean 'clock'"),
        (("foyer", "broken.py"), "broken.py"),
        (("foyer", "none.py"), "cannot be read"),
        (("foyer", "clock", "--otherwise", "none.py"), "cannot be read"),
        (("foyer", "clock", "--to", "nowhere:"), "nowhere"),
        (("foyer", "clock", "--to", "memory:", "--log", "no/show.log"), "no/show.log"),
        (("foyer", "clock", "--for", "soon"), "soon"),
        (("foyer", "clock", "--for", "0s"), "--for"),
        (("foyer", "clock", "--patience", "0s"), "patience"),
    ]:
        status, _, err = foreglow("run", *words)
        assert status == 2, words
        assert told in err, words


def test_lengths_of_time():
    assert seconds("10h") == 36_000
    assert seconds("1.5 h") == 5400
    assert seconds("90min") == 5400
    assert seconds("30s") == 30
