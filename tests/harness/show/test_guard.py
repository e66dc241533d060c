"""The guard of a scene, asked and answered step by step on a simulated clock."""

from __future__ import annotations

import logging

import numpy as np
import pytest

from emulator import SimulatedClock
from emulator.clock import SECOND_NS
from emulator.errors import SceneError, SourceError
from harness.show.scene.guard import Guard
from harness.show.scene.player import Player

PICTURE = np.zeros((1, 1, 3), np.uint8)


class Puppet(Player):
    """Gives what `answer` is: None for not yet, a picture, or an error to raise."""

    def __init__(self):
        self.answer = None
        self.asked, self.killed, self.closed = [], False, False

    def ask(self, time_s):
        self.asked.append(time_s)

    def take(self):
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer

    def kill(self):
        self.killed = True

    def close(self):
        self.closed = True


class Rig:
    """A guard with 5 s of patience and scripted players."""

    def __init__(self):
        self.clock, self.players = SimulatedClock(), []
        self.fails = False
        self.guard = Guard("lamps.py", self.start, self.clock, 5 * SECOND_NS)

    def start(self):
        if self.fails:
            raise SceneError("it cannot be loaded", fix="look", trace="Traceback: here\n")
        self.players.append(Puppet())
        return self.players[-1]

    def at(self, time_s, answer=None):
        """Ask and take at a time; the answer is that of the newest player."""
        self.clock.wait_until(round(time_s * SECOND_NS))
        self.guard.ask(time_s)
        if self.players:
            self.players[-1].answer = answer
        return self.guard.take()


@pytest.fixture
def rig():
    return Rig()


@pytest.fixture
def told(caplog):
    caplog.set_level(logging.INFO, "foreglow.show")
    return lambda: [(r.levelname, r.getMessage()) for r in caplog.records]


def test_a_picture_is_asked_for_once_until_it_has_come(rig):
    assert rig.guard.out is rig.guard.awaited is rig.guard.late is False
    assert rig.guard.take() is None
    assert rig.at(0) is None
    assert rig.at(1) is None
    assert rig.players[0].asked == [0]
    assert rig.guard.awaited
    assert rig.at(2, PICTURE) is PICTURE
    assert not rig.guard.awaited
    assert rig.guard.take() is None
    rig.at(3)
    assert rig.players[0].asked == [0, 3]
    assert (rig.guard.restarts, rig.guard.troubles, rig.guard.out) == (0, 0, False)


def test_the_first_picture_may_take_30_s_and_each_other_as_long_as_the_patience(rig):
    rig.at(0)
    assert rig.at(29.9) is None
    assert not rig.players[0].killed
    assert rig.guard.late is False  # a scene that has given none is loading, not late
    rig.at(29.95, PICTURE)
    rig.at(30)
    assert rig.guard.late
    rig.at(34.9)
    assert not rig.players[0].killed
    rig.at(35)
    assert rig.players[0].killed
    assert (rig.guard.out, rig.guard.late, rig.guard.awaited) == (True, False, False)


def test_a_scene_started_again_may_take_30_s_for_its_first_picture_as_well(rig):
    rig.at(0, PICTURE)
    rig.at(1, SceneError("over"))
    assert rig.players[0].killed
    rig.at(2)
    assert len(rig.players) == 2
    rig.at(31.9)
    assert not rig.players[1].killed
    assert not rig.guard.late
    rig.at(32)
    assert rig.players[1].killed


def test_a_longer_patience_counts_for_the_first_picture_too():
    rig = Rig()
    rig.guard = Guard("lamps.py", rig.start, rig.clock, 60 * SECOND_NS)
    rig.at(0)
    rig.at(59)
    assert not rig.players[0].killed
    rig.at(60)
    assert rig.players[0].killed


def test_the_rest_before_a_start_doubles_up_to_30_s_and_is_short_again_after_ten_good_ones(rig):
    now_s, rests = 0.0, []
    for _ in range(7):
        rig.at(now_s, SceneError("over"))
        count, failed_s = len(rig.players), now_s
        while len(rig.players) == count:
            now_s += 0.5
            rig.at(now_s)
        rests.append(now_s - failed_s)
    assert rests == [1, 2, 4, 8, 16, 30, 30]
    assert rig.guard.restarts == 7
    rig.at(now_s, PICTURE)
    rig.at(now_s + 9.9, PICTURE)
    rig.at(now_s + 9.95, SceneError("over"))
    rig.at(now_s + 39.9)
    assert rig.guard.restarts == 7  # it still rests for 30 s
    rig.at(now_s + 40)
    assert rig.guard.restarts == 8
    rig.at(now_s + 40, PICTURE)
    rig.at(now_s + 50, PICTURE)  # ten seconds with pictures
    rig.at(now_s + 51, SceneError("over"))
    rig.at(now_s + 52)
    assert rig.guard.restarts == 9


def test_each_failure_and_return_is_told_and_a_trouble_s_end_with_the_time_since_it_began(
    rig, told
):
    rig.at(0, PICTURE)
    rig.at(10, SceneError("boom", fix="no", trace="Traceback: there\n"))
    rig.at(11, SceneError("boom", fix="no", trace="Traceback: there\n"))
    assert rig.guard.troubles == 1
    rig.at(13, PICTURE)
    assert not rig.guard.out
    rig.at(14, SourceError("unplugged"))  # while the trouble lasts: told, and no other trouble
    assert rig.guard.out
    rig.at(15, PICTURE)
    rig.at(24.9, PICTURE)
    assert len(told()) == 5
    rig.at(25, PICTURE)
    rig.at(40, PICTURE)
    assert told() == [
        ("WARNING", "lamps.py is out, starting it again in 1 s: boom\nTraceback: there"),
        ("WARNING", "lamps.py is out, starting it again in 2 s: boom"),
        ("INFO", "lamps.py is back, after 3.0 s without it"),
        ("WARNING", "lamps.py is out, asking again: no picture now: unplugged"),
        ("INFO", "lamps.py is back, after 1.0 s without it"),
        (
            "INFO",
            "lamps.py runs well again, since 5.0 s after its trouble began; restarts: 2",
        ),
    ]
    assert (rig.guard.troubles, rig.guard.restarts) == (1, 2)
    rig.at(41, SceneError("boom"))  # another trouble is logged again, and counts its own restarts
    rig.at(42, PICTURE)
    rig.at(52, PICTURE)
    assert rig.guard.troubles == 2
    assert told()[6:] == [
        ("WARNING", "lamps.py is out, starting it again in 1 s: boom"),
        ("INFO", "lamps.py is back, after 1.0 s without it"),
        (
            "INFO",
            "lamps.py runs well again, since 1.0 s after its trouble began; restarts: 1",
        ),
    ]


def test_at_most_16_reasons_of_one_trouble_are_told(rig, told):
    for number in range(20):
        rig.at(number / 10, SourceError(f"reason {number}"))
        rig.at(number / 10, SourceError(f"reason {number}"))
    assert [text for _, text in told()] == [
        f"lamps.py is out, asking again: no picture now: reason {n}" for n in range(16)
    ]
    assert rig.guard.troubles == 1


def test_the_time_without_pictures_is_counted_over_all_failures(rig):
    assert rig.guard.out_ns == 0
    rig.at(0, PICTURE)
    rig.at(10, SceneError("over"))
    rig.at(12)
    assert rig.guard.out_ns == 2 * SECOND_NS
    rig.at(13, PICTURE)
    rig.at(14, PICTURE)
    assert rig.guard.out_ns == 3 * SECOND_NS
    rig.at(20, SourceError("unplugged"))
    rig.at(25, SourceError("unplugged"))
    rig.at(27, PICTURE)
    rig.at(30, PICTURE)
    assert rig.guard.out_ns == 10 * SECOND_NS


def test_a_return_is_told_only_where_the_failure_was(rig, told):
    for second in range(0, 9, 3):
        rig.at(second, SourceError("unplugged"))
        assert rig.guard.out
        rig.at(second + 1, PICTURE)
    assert [text for _, text in told()] == [
        "lamps.py is out, asking again: no picture now: unplugged",
        "lamps.py is back, after 1.0 s without it",
    ]


def test_no_picture_now_leaves_the_scene_running_and_asks_again(rig):
    rig.at(0, PICTURE)
    assert rig.at(1, SourceError("unplugged")) is None
    assert (rig.guard.out, rig.guard.awaited, rig.guard.late) == (True, False, False)
    assert rig.at(1.1, PICTURE) is PICTURE
    assert rig.players[0].asked == [0, 1, 1.1]
    assert (rig.guard.restarts, rig.players[0].killed) == (0, False)


def test_a_scene_that_cannot_be_started_is_tried_again(rig, told):
    rig.fails = True
    assert rig.at(0) is None
    assert (rig.guard.out, rig.guard.awaited, rig.guard.restarts) == (True, False, 0)
    assert told() == [
        (
            "WARNING",
            "lamps.py is out, starting it again in 1 s: it cannot be loaded\nTraceback: here",
        )
    ]
    rig.at(0.9)
    rig.fails = False
    rig.at(0.95)
    assert rig.players == []
    assert rig.at(1, PICTURE) is PICTURE
    assert (rig.guard.out, rig.guard.restarts) == (False, 1)


def test_no_answer_is_told_with_the_patience_it_was_given(rig, told):
    rig.at(0)
    rig.at(30)
    rig.at(31, PICTURE)
    rig.at(32)
    rig.at(37)
    assert [text for _, text in told()] == [
        "lamps.py is out, starting it again in 1 s: no answer for 30 s",
        "lamps.py is back, after 1.0 s without it",
        "lamps.py is out, starting it again in 2 s: no answer for 5 s",
    ]


def test_closing_lets_the_scene_give_back_what_it_holds(rig):
    rig.guard.close()
    rig.at(0, PICTURE)
    rig.guard.close()
    assert (rig.players[0].closed, rig.players[0].killed) == (True, False)
    rig.guard.close()


def test_who_makes_the_guard_late_waits_from_then_on():
    clock = SimulatedClock()
    clock.wait_until(100 * SECOND_NS)
    started = []
    guard = Guard("lamps.py", lambda: started.append(1) or Puppet(), clock, 5 * SECOND_NS)
    guard.ask(0.0)
    assert started == [1]
    guard.fail("on request")
    clock.wait_until(100 * SECOND_NS + SECOND_NS - 1)
    guard.ask(0.0)
    assert started == [1]
    clock.wait_until(101 * SECOND_NS)
    guard.ask(0.0)
    assert started == [1, 1]
