"""The second thread: work is shared, errors come back, and nothing hangs."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import weakref

import numpy as np
import pytest

from emulator import load_display
from emulator.light import operator, pair
from emulator.light.wall import WallView

WAIT_S = 30  # only a hang takes so long


def test_both_threads_work_at_once():
    met = threading.Barrier(2)
    names = set()

    def work(number: int) -> None:
        met.wait(WAIT_S)
        names.add((number, threading.get_ident()))

    pair.in_pair(work)
    assert len(names) == 2


@pytest.mark.parametrize("which", [0, 1])
def test_an_error_in_either_is_raised_when_both_are_done(which):
    met, done = threading.Barrier(2), []

    def work(number: int) -> None:
        met.wait(WAIT_S)
        if number == which:
            raise ValueError("of one")
        done.append(number)

    with pytest.raises(ValueError, match="of one"):
        pair.in_pair(work)
    assert done == [1 - which]


def test_a_second_thread_that_is_busy_is_not_waited_for():
    begun, free = threading.Event(), threading.Event()

    def slow(number: int) -> None:
        if number == 1:
            begun.set()
            free.wait(WAIT_S)
        else:
            begun.wait(WAIT_S)  # else the first would be done before the second had begun

    other = threading.Thread(target=pair.in_pair, args=(slow,))
    other.start()
    begun.wait(WAIT_S)
    done: list[int] = []
    pair.in_pair(done.append)
    free.set()
    other.join(WAIT_S)
    assert done == [0]


def test_neither_thread_holds_on_to_the_work_when_it_is_done():
    class Work:
        def __call__(self, number: int) -> None:
            pass

    for _ in range(200):  # left out, begun late, begun at once: as it happens
        work = Work()
        held = weakref.ref(work)
        pair.in_pair(work)
        del work
        assert held() is None


def test_a_picture_is_the_same_to_the_last_bit_drawn_by_one_thread_or_two(monkeypatch):
    view = WallView(load_display("foyer"), 700)
    cells = np.random.default_rng(1).random((20, 36, 3)).astype(np.float32)
    by_two = view.draw(cells).copy()
    monkeypatch.setattr(operator, "in_pair", lambda work: work(0))
    by_one = view.draw(cells).copy()
    monkeypatch.setattr(operator, "in_pair", lambda work: work(1))
    assert (by_two == by_one).all()
    assert (by_two == view.draw(cells)).all()


def test_no_more_threads_to_be_had_is_no_error(monkeypatch):
    monkeypatch.setattr(pair, "_second", pair._Second())
    done = []
    with monkeypatch.context() as limited:

        def start(*_: object) -> None:
            raise RuntimeError("can't start new thread")

        limited.setattr("_thread.start_new_thread", start)
        pair.in_pair(lambda number: done.append(("first", number)))
    met = threading.Barrier(2)

    def second(number: int) -> None:
        met.wait(WAIT_S)
        done.append(("second", number))

    pair.in_pair(second)
    assert sorted(done) == [("first", 0), ("second", 0), ("second", 1)]


def run(script: str) -> str:
    """What a program of its own prints, which must end by itself and in good order."""
    begin = (
        "import os, atexit, threading\n"
        "from emulator.light.pair import in_pair\n"
        "def both():\n"
        "    met, seen = threading.Barrier(2), []\n"
        f"    in_pair(lambda n: (met.wait({WAIT_S}), seen.append(n)))\n"
        "    return sorted(seen)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", begin + script],
        capture_output=True,
        text=True,
        timeout=2 * WAIT_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system does not fork")
def test_a_forked_child_has_a_second_thread_of_its_own():
    script = (
        "both()\n"
        "child = os.fork()\n"
        "if not child: os._exit(0 if both() == [0, 1] else 3)\n"
        "print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), both())\n"
    )
    assert run(script) == "0 [0, 1]\n"


def test_the_end_of_the_program_waits_for_no_thread_and_may_still_draw():
    script = (
        "both()\n"
        "def last():\n"
        "    todo, done = iter(range(9)), []\n"
        "    in_pair(lambda n: done.extend(todo))\n"
        "    print('last', sorted(done))\n"
        "atexit.register(last)\n"
    )
    assert run(script) == f"last {list(range(9))}\n"


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="this system has no such alarm")
def test_ctrl_c_at_any_moment_leaves_neither_thread_stuck():
    # With the standard library's executor it hung, once in some hundred times.
    script = (
        "import signal\n"
        "def alarm(*_): raise KeyboardInterrupt\n"
        "signal.signal(signal.SIGALRM, alarm)\n"
        "count = 0\n"
        "while count < 1500:\n"
        "    try:\n"
        "        signal.setitimer(signal.ITIMER_REAL, 2e-4 + 1e-6 * (count % 97))\n"
        "        while True: in_pair(lambda n: None)\n"
        "    except KeyboardInterrupt:\n"
        "        count += 1\n"
        "print(both())\n"
    )
    assert run(script) == "[0, 1]\n"
