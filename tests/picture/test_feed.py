"""A feed, with real child processes."""

from __future__ import annotations

import contextlib
import os
import select
import shlex
import subprocess
import sys

import numpy as np
import pytest

from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.feed import Feed
from emulator.picture.fit import fit
from tests.picture.media import wall

PATIENT_S = 20
DISPLAY = wall(3, 2)

# Writes one picture of 6 × 4, bytes 0, 1, 2 …, in two halves; then what `then` says.
PROGRAM = """
import os, signal, sys, time
{first}
for part in (bytes(range(30)), bytes(range(30, 72))):
    os.write(1, part)
{then}
"""
PICTURE = np.arange(72, dtype=np.uint8).reshape(4, 6, 3)


def feed(then="time.sleep(60)", first="", **options):
    return Feed([sys.executable, "-c", PROGRAM.format(first=first, then=then)], 6, 4, **options)


def gone(pid):
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, 0)
        return False
    return True


def ended(pid):
    """Whether a process ends, even if its new parent has not taken its status yet."""
    try:
        end = os.pidfd_open(pid)  # which can be read once it has ended
    except ProcessLookupError:
        return True
    try:
        return bool(select.select([end], [], [], PATIENT_S)[0])
    finally:
        os.close(end)


def test_a_picture_is_read_whole_and_fitted():
    with feed() as running:
        assert running.wait(PATIENT_S)
        assert (running(0, DISPLAY) == fit(PICTURE, (2, 3))).all()


def test_one_picture_follows_the_other():
    # The second picture is the first one backwards; with it the program ends.
    with feed(then="os.write(1, bytes(range(72))[::-1])") as running:
        assert running.wait(PATIENT_S)
        running._frames._reader.join(PATIENT_S)
        assert (running(0, DISPLAY) == fit(PICTURE[::-1, ::-1, ::-1], (2, 3))).all()


def test_before_the_first_picture_it_is_dark_and_does_not_wait():
    with Feed([sys.executable, "-c", "import time; time.sleep(60)"], 6, 4) as running:
        assert not running(0, DISPLAY).any()
        with pytest.raises(SourceError, match="no frame for 5 s"):
            running(5.1, DISPLAY)


def test_a_program_that_ends_is_started_anew(tmp_path):
    log = tmp_path / "starts"
    first = f"open({str(log)!r}, 'a').write('x')"
    with feed(then="", first=first) as running:
        assert running.wait(PATIENT_S)
        running._frames._reader.join(PATIENT_S)
        running(0, DISPLAY)  # its last picture
        with pytest.raises(SourceError, match=r"it ended|closed its output"):
            running(0.1, DISPLAY)
        with pytest.raises(SourceError):
            running(0.9, DISPLAY)
        assert log.read_text() == "x"
        with pytest.raises(SourceError):
            running(1.2, DISPLAY)
        assert running.wait(PATIENT_S)
        assert running(1.3, DISPLAY).any()
        assert log.read_text() == "xx"


def test_closing_ends_the_program_and_its_children(tmp_path):
    first = (
        "there, says = os.pipe()\n"
        "child = os.fork()\n"
        f"open({str(tmp_path)!r} + '/' + str(os.getpid()), 'w')\n"
        "if not child:\n"
        "    os.write(says, b'!')\n"
        "    time.sleep(60)\n"
        "os.read(there, 1)"
    )
    running = feed(first=first)
    assert running.wait(PATIENT_S)
    pids = [int(path.name) for path in tmp_path.iterdir()]
    assert len(pids) == 2
    running.close()
    assert all(ended(pid) for pid in pids)
    running.close()


def test_a_program_is_asked_to_end_before_it_is_made_to(tmp_path):
    first = (
        "def end(*_):\n"
        f"    open({str(tmp_path / 'asked')!r}, 'w')\n"
        "    sys.exit()\n"
        "signal.signal(signal.SIGTERM, end)"
    )
    running = feed(first=first)
    assert running.wait(PATIENT_S)
    running.close()
    assert (tmp_path / "asked").exists()


@pytest.mark.slow
def test_a_program_that_will_not_end_is_made_to(tmp_path):
    first = (
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
        f"open({str(tmp_path)!r} + '/' + str(os.getpid()), 'w')"
    )
    running = feed(first=first)
    assert running.wait(PATIENT_S)
    running.close()
    (pid,) = (int(path.name) for path in tmp_path.iterdir())
    assert gone(pid)


def test_the_program_is_ended_with_an_interpreter_that_did_not_close_it(tmp_path):
    first = f"open({str(tmp_path)!r} + '/' + str(os.getpid()), 'w')"
    words = [sys.executable, "-c", PROGRAM.format(first=first, then="time.sleep(60)")]
    code = (
        "from emulator.picture.feed import Feed\n"
        f"running = Feed({words!r}, 6, 4)\n"
        f"assert running.wait({PATIENT_S})\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
    (pid,) = (int(path.name) for path in tmp_path.iterdir())
    assert ended(pid)


def test_a_command_may_be_one_text():
    code = shlex.quote(PROGRAM.format(first="", then="time.sleep(60)"))
    with Feed(f"{shlex.quote(sys.executable)} -c {code}", 6, 4) as running:
        assert running.wait(PATIENT_S)


def test_what_cannot_be_started_is_told(tmp_path):
    for command, error in (("'a", "quote"), ("", "empty"), ([], "empty")):
        with pytest.raises(SourceError, match=error):
            Feed(command, 6, 4)
    with Feed([str(tmp_path / "none")], 6, 4) as running:
        assert not running.wait(0)
        running._frames._reader.join(PATIENT_S)
        with pytest.raises(SourceError, match="cannot be started: No such file"):
            running(0, DISPLAY)


@pytest.mark.parametrize("size", [(0, 4), (6, -1), (100_000, 100_000)])
def test_sizes_no_picture_has_are_refused(size):
    with pytest.raises(OutOfRangeError, match="pictures of"):
        Feed("true", *size)
