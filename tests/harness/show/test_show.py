"""The show loop on a simulated clock: pace, watchdog, growing pauses, what the wall shows."""

from __future__ import annotations

import errno
import io
import logging
import re
import signal
import struct
import threading
from pathlib import Path

import numpy as np
import pygame
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import OutputClosedError, RealClock, SimulatedClock, WriteError, canvas, parse_display
from emulator.clock import SECOND_NS
from emulator.errors import SceneError, SourceError, UnknownNameError
from emulator.ports import companion as companion_module
from emulator.ports import reopening
from emulator.ports.address import AddressError
from emulator.ports.companion import Companion
from emulator.ports.link import Link
from emulator.ports.memory import MemoryOutput
from emulator.ports.remote import RemoteOutput
from emulator.ports.serial.board import CREDIT
from emulator.ports.serial.port import LinkError
from emulator.ports.several import SeveralOutput
from emulator.ports.window import WindowOutput
from emulator.recorder import Recorder
from emulator.recording import disk
from emulator.recording.recording import load_recording
from emulator.stopping import Stopping
from emulator.view.controls import Action
from emulator.window.keys import ACTION_OF_KEY
from harness.show.log import told
from harness.show.loop import Pace, Show
from harness.show.names import check_name
from harness.show.perform import Bill, on_now
from harness.show.record.aside import Aside
from harness.show.record.current import CurrentLog
from harness.show.record.flashes import FlashLog
from harness.show.record.kept import Kept
from harness.show.record.tally import Tally
from harness.show.scene.guard import Guard
from harness.show.scene.message import encode_picture, encode_trouble, read_answer
from harness.show.scene.player import Player
from harness.show.scene.said import Lines, Said
from harness.show.wall import LiveWall
from tests.ports.cable import Cable

MS = 1_000_000


def wall_of(rate=30, extra=""):
    text = f"""
[grid]
columns = 4
rows = 2
[chip]
part = "WS2812B"
[wiring]
[controller]
frame_rate = {rate}
{extra}"""
    return parse_display(text, Path("small.toml"))


class Script(Player):
    """Answers by a function: time_s → (nanoseconds it takes, a level or an error)."""

    def __init__(self, answer, clock, display):
        self._answer, self._clock, self._display = answer, clock, display
        self._ready_ns, self._what = None, None
        self.killed = self.closed = False

    def ask(self, time_s):
        assert self._ready_ns is None, "asked while it had not answered"
        takes_ns, self._what = self._answer(time_s)
        self._ready_ns = self._clock.now_ns() + takes_ns

    def take(self):
        if self._ready_ns is None or self._clock.now_ns() < self._ready_ns:
            return None
        self._ready_ns = None
        if isinstance(self._what, Exception):
            raise self._what
        return np.full(self._display.picture_shape, self._what, np.uint8)

    def kill(self):
        self.killed = True

    def close(self):
        self.closed = True


class Stage:
    """A show of scripted scenes on a bench in memory; `slots` are all there were."""

    def __init__(self, answer, otherwise=None, rate=30, output=None, patience_s=5, company=()):
        self.display = wall_of(rate)
        self.output = output or MemoryOutput(self.display)
        self.clock = self.output.bench.clock
        self.starts_s, self.players = [], []
        self.scene = Guard(
            "the scene", lambda: self.start(answer), self.clock, patience_s * SECOND_NS
        )
        other = otherwise and Guard(
            "the other",
            lambda: Script(otherwise, self.clock, self.display),
            self.clock,
            patience_s * SECOND_NS,
        )
        self.wall = LiveWall(lambda: self.output, self.clock, company=company)
        self.output.bench.recorder = Recorder(self.display.leds, 3)  # all frames
        self.slots = []
        pace = Pace.of(self.display, self.wall.link)
        self.show = Show(self.wall, self.scene, other, self.clock, pace, self.slots.append)

    def start(self, answer):
        self.starts_s.append(self.clock.now_ns() / SECOND_NS)
        self.players.append(Script(answer, self.clock, self.display))
        return self.players[-1]

    def run(self, seconds, stopping=lambda: ""):
        return self.show.run(round(seconds * SECOND_NS), stopping)

    def shown(self):
        return [slot.shown for slot in self.slots]

    def levels(self):
        return self.output.bench.frames[:, 0, 0].tolist()


@pytest.fixture
def heard():
    """The log of the show, one text for each line."""
    lines = []
    handler = logging.Handler()
    handler.emit = lambda record: lines.append(record.getMessage())
    logger = logging.getLogger("foreglow")
    propagate, level = logger.propagate, logger.level
    logger.propagate = False
    logger.setLevel(logging.INFO)
    logger.addHandler(handler)
    yield lines
    logger.removeHandler(handler)
    logger.propagate = propagate
    logger.setLevel(level)


@pytest.fixture(autouse=True)
def _quiet(heard):
    """Nothing is printed by the logger of last resort."""


def steady(level=100, takes_ns=0):
    return lambda time_s: (takes_ns, level)


def test_frames_start_at_exact_multiples_of_a_period_that_is_no_whole_number():
    # Oracle: whole numbers. 29.97 = 2997/100 exactly; frame n starts at n · 10¹¹ / 2997 ns, cut.
    stage = Stage(steady(), rate=29.5)
    stage.run(100)
    starts = [slot.sent.starts_ns for slot in stage.slots]
    assert starts == [n * 2_000_000_000 // 59 for n in range(2950)]  # 29.5 = 59/2


def test_each_frame_shows_the_picture_of_its_own_time():
    stage = Stage(lambda time_s: (10 * MS, round(time_s * 10)), rate=10)
    stage.run(2)
    assert set(stage.shown()) == {"scene"}
    # sRGB through the transfer curve is what the wall shows; equal levels give equal drives.
    asked = np.arange(20, dtype=np.uint8)
    assert (
        stage.levels()[:20]
        == canvas.to_drives(
            np.broadcast_to(asked[:, None, None, None], (20, 2, 4, 3)), stage.display
        )[:, 0, 0].tolist()
    )


def test_the_wall_is_dark_at_the_end_and_stays_for_the_last_period():
    stage = Stage(steady(200))
    ended = stage.run(1)
    assert ended.why == "its time is over"
    assert ended.dark.starts_ns == SECOND_NS
    assert stage.levels()[-2] > 0
    assert not stage.output.bench.drives.any()


def test_a_picture_that_comes_too_late_is_shown_with_the_next_frame_and_counted_once():
    # Asked for at the start of frame 8, the picture of frame 9 takes one and a half periods.
    stage = Stage(lambda time_s: (150 * MS if 0.85 < time_s < 0.95 else 0, 50), rate=10)
    stage.run(2)
    assert [slot.number for slot in stage.slots if slot.late] == [9]
    assert [slot.number for slot in stage.slots if slot.shown == "held"] == [9]
    assert [slot.number for slot in stage.slots] == list(range(20))


def test_a_slow_scene_gets_every_other_frame_and_the_pace_stays():
    stage = Stage(steady(50, takes_ns=150 * MS), rate=10)
    stage.run(4)
    assert (
        stage.shown()[-10:] == ["scene", "held"] * 5
        or stage.shown()[-10:]
        == [
            "held",
            "scene",
        ]
        * 5
    )
    begin_ns = stage.slots[0].due_ns
    assert [s.sent.starts_ns - begin_ns for s in stage.slots] == [n * 100 * MS for n in range(40)]


def test_a_scene_that_hangs_is_killed_after_the_patience_and_started_again(heard):
    stage = Stage(lambda time_s: (10**15 if 2 < time_s < 2.2 else 0, 50), rate=10)
    stage.run(30)
    assert stage.players[0].killed
    # Asked at 2.0 s, 5 s of patience, 1 s of rest.
    assert stage.starts_s == [0.0, pytest.approx(8.0, abs=0.2)]
    held = [slot.due_ns / SECOND_NS for slot in stage.slots if slot.shown != "scene"]
    assert held[0] == pytest.approx(2.1)
    assert held[-1] == pytest.approx(8.0, abs=0.2)
    assert [line.partition(":")[0] for line in heard] == [
        "the scene is out, starting it again in 1 s",
        "the scene is back, after 1.1 s without it",
        "the scene runs well again, since 1.1 s after its trouble began; restarts",
    ]


def test_a_scene_that_always_raises_is_started_ever_more_slowly(heard):
    stage = Stage(lambda time_s: (0, SceneError("boom", fix="no", trace="Traceback …")), rate=10)
    stage.run(130)
    rests = np.diff(stage.starts_s)
    assert rests == pytest.approx([1, 2, 4, 8, 16, 30, 30, 30], abs=0.21)
    assert set(stage.shown()) == {"dark"}
    assert heard == [
        "the scene is out, starting it again in 1 s: boom\nTraceback …",
        *(f"the scene is out, starting it again in {s} s: boom" for s in (2, 4, 8, 16, *[30] * 4)),
    ]


def test_a_scene_may_take_long_to_load(heard):
    stage = Stage(lambda time_s: (29 * SECOND_NS if time_s == 0 else 0, 50), rate=10)
    stage.run(40)
    assert len(stage.starts_s) == 1
    assert stage.shown()[-60:] == ["scene"] * 60
    assert heard == []
    assert not any(slot.late for slot in stage.slots)


def test_ten_seconds_with_pictures_make_the_rest_short_again():
    # Fails at 2, 4.1, 7.2 … while it has not run for ten seconds; then at 40.
    def answer(time_s):
        failing = time_s < 6 or 40 < time_s < 40.5
        return 0, SceneError("boom") if failing else 50

    stage = Stage(answer, rate=10)
    stage.run(60)
    rests = np.diff(stage.starts_s)
    assert rests[:3] == pytest.approx([1, 2, 4], abs=0.2)
    assert stage.starts_s[-1] == pytest.approx(41.2, abs=0.2)


def test_each_failure_and_each_return_is_told_with_the_time_without_the_scene(heard):
    def answer(time_s):
        failing = 2 < time_s < 2.2 or 5 < time_s < 5.2 or 10 < time_s < 10.2 or 40 < time_s < 40.2
        return 0, SceneError("boom") if failing else 50

    stage = Stage(answer, rate=10)
    stage.run(60)
    told = [line.removeprefix("the scene ") for line in heard]
    # Asked a frame ahead, and again at once when its rest is over; well after ten seconds.
    out_s = [float(re.search(r"after (\d+\.\d) s", line)[1]) for line in told if "back" in line]
    assert out_s == pytest.approx([1, 2, 4, 1], abs=0.21)
    assert [line.partition(":")[0] for line in told if "out" in line.partition(",")[0]] == [
        f"is out, starting it again in {rest} s" for rest in (1, 2, 4, 1)
    ]
    assert stage.scene.out_ns / SECOND_NS == pytest.approx(sum(out_s), abs=0.2)


def test_a_camera_that_comes_and_goes_is_told_once_in_a_trouble(heard):
    answer = lambda time_s: (0, SourceError("no") if int(time_s * 10) % 2 else 50)  # noqa: E731
    Stage(answer, rate=10).run(9)
    assert [line.partition(",")[0] for line in heard] == ["the scene is out", "the scene is back"]


def test_without_anything_else_the_last_picture_is_held_for_ten_seconds_then_none():
    stage = Stage(lambda time_s: (0, SceneError("boom") if time_s > 1 else 50), rate=10)
    stage.run(20)
    shown = stage.shown()
    assert shown == ["scene"] * 11 + ["held"] * 99 + ["dark"] * 90
    assert all(slot.sent for slot in stage.slots)  # frames still go out


def test_the_other_scene_is_shown_while_the_first_is_out():
    stage = Stage(
        lambda time_s: (0, SceneError("boom") if 1 < time_s < 5 else 50), steady(90), rate=10
    )
    stage.run(12)
    shown = stage.shown()
    first, last = shown.index("otherwise"), len(shown) - 1 - shown[::-1].index("otherwise")
    assert shown[:11] == ["scene"] * 11
    assert first <= 13  # asked for when the first fails, shown a frame later
    assert set(shown[first : last + 1]) == {"otherwise"}
    assert set(shown[last + 1 :]) == {"scene"}
    assert last / 10 == pytest.approx(8.2, abs=0.3)  # tried at 2.1, 4.2 and 8.3 s


def test_no_picture_now_is_no_reason_to_start_the_scene_again(heard):
    stage = Stage(
        lambda time_s: (0, SourceError("unplugged") if 1 < time_s < 5 else 50), steady(90), rate=10
    )
    stage.run(20)
    assert len(stage.starts_s) == 1
    assert stage.scene.restarts == 0
    assert 38 <= stage.shown().count("otherwise") <= 40
    assert len(heard) == 3
    assert "unplugged" in heard[0]
    assert "is back, after 3.9 s" in heard[1]
    assert "since 3.9 s after" in heard[2]  # the first picture came a frame ahead


def test_a_stop_between_frames_darkens_at_once():
    stage = Stage(steady(50), rate=2)
    ended = stage.run(100, lambda: "SIGTERM" if stage.clock.now_ns() > 1_200 * MS else "")
    assert ended.why == "SIGTERM"
    # Not at the next frame, 1.5 s, but within the 20 ms between looks.
    assert ended.dark.starts_ns <= 1_240 * MS
    assert not stage.output.bench.drives.any()


class Failing(MemoryOutput):
    """Raises what `trouble` gives for the time."""

    def __init__(self, display, trouble):
        super().__init__(display)
        self._trouble = trouble
        self.closes = 0

    def send(self, picture):
        error = self._trouble(self.bench.clock.now_ns() / SECOND_NS)
        if error is not None and np.any(picture):
            raise error
        return super().send(picture)

    def close(self):
        self.closes += 1


def test_an_output_that_fails_is_opened_again_and_the_pace_stays(heard):
    output = Failing(wall_of(10), lambda s: LinkError("gone") if 1.95 < s < 6 else None)
    stage = Stage(steady(50), rate=10, output=output)
    stage.run(20)
    unsent = [slot.number for slot in stage.slots if slot.sent is None]
    # Lost at 2 s; opened at 3 and 5 s, to fail again with the frame, and at 9 s for good.
    assert unsent == list(range(20, 90))
    assert stage.wall.outages == 1
    assert [slot.number for slot in stage.slots] == list(range(200))
    assert heard == [
        "the output is out, and is opened again: gone",
        "the output works again, since 7.0 s after it failed",
    ]


def test_an_output_that_has_worked_for_ten_seconds_is_opened_soon_again():
    def trouble(time_s):
        return LinkError("gone") if 1.95 < time_s < 6 or 30.95 < time_s < 31.05 else None

    stage = Stage(steady(50), rate=10, output=Failing(wall_of(10), trouble))
    stage.run(40)
    unsent = [slot.number for slot in stage.slots if slot.sent is None]
    assert unsent[-10:] == list(range(310, 320))
    assert len(unsent) == 70 + 10
    assert stage.wall.outages == 2


def test_a_show_in_memory_keeps_a_bounded_recording():
    output = MemoryOutput(wall_of(100))
    wall = LiveWall(lambda: output, output.bench.clock)
    picture = np.zeros((2, 4, 3), np.uint8)
    for _ in range(2000):
        wall.send(picture)
    assert len(output.bench.recorder) <= 512


def test_the_window_of_a_show_says_what_is_on(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    display = wall_of(10)
    with WindowOutput(display, pixels_wide=200, clock=Impatient()) as window:
        assert window.playing == "pictures from your program"
        wall = LiveWall(lambda: window, window.bench.clock, "lamps.py")
        statuses = []
        monkeypatch.setattr(window.screen, "draw", lambda *what: statuses.append(what[2]) or True)
        for playing in ("lamps.py", "clock: lamps.py is out"):
            wall.playing = playing
            wall.send(np.zeros(display.picture_shape, np.uint8))
            window.bench.clock.wait_until(window.bench.clock.now_ns() + SECOND_NS)
    assert {one.playing for one in statuses} == {"lamps.py", "clock: lamps.py is out"}


def test_what_is_on_is_the_scene_or_what_stands_in_for_it():
    bill = Bill("wall.toml", "lamps.py", ["window:"], "clock")
    assert on_now(bill, "scene", False) == "lamps.py"
    assert on_now(bill, "held", False) == "lamps.py"  # one picture late
    assert on_now(bill, "otherwise", True) == "clock: lamps.py is out"
    assert on_now(bill, "held", True) == "the last picture: lamps.py is out"
    assert on_now(bill, "dark", True) == "nothing: lamps.py is out"


def test_a_window_that_is_closed_ends_the_show():
    output = Failing(wall_of(10), lambda s: OutputClosedError("closed") if s > 1 else None)
    ended = Stage(steady(50), rate=10, output=output).run(20)
    assert ended.why == "the window has been closed"
    assert not output.bench.drives.any()


def test_behind_a_closed_window_nothing_is_lit():
    output = MemoryOutput(wall_of(10))
    wall = LiveWall(lambda: output, output.bench.clock)

    def closed(picture):
        raise OutputClosedError("closed")

    output.send = closed
    assert wall.darken() is None
    assert not wall.may_be_lit


class Impatient(SimulatedClock):
    """A delayed show does not hang the test."""

    def wait_until(self, time_ns):
        assert time_ns < 60 * SECOND_NS, "the show is held up"
        super().wait_until(time_ns)


def test_a_window_that_is_paused_holds_up_neither_the_show_nor_its_end(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    display = wall_of(10)
    pause = next(key for key, action in ACTION_OF_KEY.items() if action is Action.PAUSE)
    wall = MemoryOutput(display)
    with WindowOutput(display, pixels_wide=200, clock=Impatient()) as window:
        company = [Companion("the wall", lambda: wall, window.bench.clock)]
        stage = Stage(steady(50), rate=10, output=window, company=company)

        def pausing():
            if len(stage.slots) == 5:
                pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pause))
            return ""

        ended = stage.run(2, pausing)
        assert stage.shown() == ["scene"] * 20
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pause))
        assert stage.wall.darken() is not None
    assert ended.dark is not None
    assert not wall.bench.drives.any()


class Remote(Failing):
    """A link that works again when it is opened again."""

    returns = True


def test_where_one_of_the_company_is_out_it_may_be_lit_and_the_wall_is_dark():
    display = wall_of(10)
    first, other = MemoryOutput(display), Remote(display, lambda s: None)
    clock = first.bench.clock
    wall = LiveWall(lambda: first, clock, company=[Companion("serial:other", lambda: other, clock)])
    assert wall.darken() is not None
    assert (wall.may_be_lit, wall.lit_company) == (False, ())

    def gone(picture):
        raise LinkError("gone")

    other.send = gone
    assert wall.darken() is not None
    assert (wall.may_be_lit, wall.lit_company) == (False, ("serial:other",))
    first.send = gone
    assert wall.darken() is None
    assert wall.may_be_lit


def test_an_output_beside_the_wall_that_fails_is_opened_again_and_the_wall_goes_on(
    heard, monkeypatch
):
    monkeypatch.setattr(reopening, "_SOON_S", 20)  # of real time: it is opened at once
    display = wall_of(10)
    first = MemoryOutput(display)
    clock = first.bench.clock
    others = []

    def gone_at_2_s(_):
        return LinkError("gone") if 1.95e9 < clock.now_ns() < 2.05e9 else None

    def opened():
        now_s = clock.now_ns() / SECOND_NS
        if 1.5 < now_s < 6:
            raise LinkError("not there\n  Fix: plug it in.")
        others.append(Remote(display, gone_at_2_s))
        return others[-1]

    other = Companion("serial:other", opened, clock)
    stage = Stage(steady(50), rate=10, output=first, company=[other])
    stage.run(20)
    assert stage.shown() == ["scene"] * 200
    assert all(slot.sent for slot in stage.slots)
    assert len(first.bench.recorder) == 201
    assert len(others) == 2
    assert others[0].closes == 1
    # Out at 2 s; tried at 3, 5 and 9 s.
    assert heard == [
        "serial:other has failed and will be opened again: LinkError: gone",
        "serial:other is back after 7.0 s",
    ]
    assert stage.wall.outages == 1


@pytest.mark.parametrize("error", [WriteError("no room"), OutputClosedError("closed"), KeyError()])
def test_an_output_beside_the_wall_that_is_past_help_is_left_out_and_the_wall_goes_on(error, heard):
    display = wall_of(10)
    first = MemoryOutput(display)
    clock = first.bench.clock
    other = Failing(display, lambda _: error if clock.now_ns() > SECOND_NS else None)
    companion = Companion("vcd:t.vcd", lambda: other, clock)
    stage = Stage(steady(50), rate=10, output=first, company=[companion])
    ended = stage.run(20)
    assert ended.why == "its time is over"
    assert stage.shown() == ["scene"] * 200
    assert len(heard) == 1
    assert heard[0].startswith("vcd:t.vcd has failed and is left out: ")
    assert (other.closes, companion.output) == (1, None)
    assert stage.wall.lit_company == ()


def test_an_output_beside_the_wall_that_cannot_be_opened_does_not_stop_the_show(heard):
    first = MemoryOutput(wall_of(10))

    def opened():
        raise LinkError("not there")

    other = Companion("serial:other", opened, first.bench.clock)
    stage = Stage(steady(50), rate=10, output=first, company=[other])
    stage.run(2)
    assert stage.shown() == ["scene"] * 20
    assert heard == ["serial:other has failed and will be opened again: LinkError: not there"]
    stage.wall.close()

    def meant_otherwise():
        raise AddressError("nowhere")

    with pytest.raises(AddressError):
        LiveWall(lambda: first, first.bench.clock, company=[Companion("no:", meant_otherwise)])


class Hanging(RemoteOutput):
    """A link whose other side takes nothing until `going`; the newest picture then."""

    def __init__(self, display, going):
        super().__init__(display, RealClock())
        self.going, self.got, self.released = going, [], threading.Event()

    @property
    def transport(self):
        return Link(1, 0.0, "one frame a second", "wait")

    def _put(self, lines):
        self.going.wait(20)
        self.got.append(int(lines[0].max()))

    def _release(self):
        self.released.set()


def test_an_output_beside_the_wall_that_hangs_or_is_slow_does_not_hold_up_the_wall(monkeypatch):
    first, going = MemoryOutput(wall_of(10)), threading.Event()
    other = Hanging(wall_of(10), going)
    companion = Companion("serial:other", lambda: other, first.bench.clock)
    stage = Stage(lambda time_s: (0, 50), rate=10, output=first, company=[companion])
    assert stage.wall.link.frames_per_s > 1000  # the wall's own
    monkeypatch.setattr(companion_module, "_PATIENCE_S", 0.01)
    stage.run(10)
    assert all(slot.sent and not slot.skipped for slot in stage.slots)
    assert stage.wall.lit_company == ("serial:other",)
    assert not first.bench.drives.any()
    stage.wall.close()
    going.set()  # it gets the dark that waited, and is closed by its own thread
    assert other.released.wait(20)
    assert other.got[-1] == 0
    assert len(other.got) <= 2  # the one that hung, unless its thread came too late for it


def test_what_the_caller_changes_after_send_is_not_what_the_company_shows():
    display, going = wall_of(10), threading.Event()
    going.set()
    other = Hanging(display, going)
    several = SeveralOutput([MemoryOutput(display), other])
    picture = np.full(display.picture_shape, 255, np.uint8)
    several.send(picture)
    picture[:] = 0
    several.company.companions[0].settle()
    several.close()
    assert other.got == [255]


def test_the_company_goes_on_while_the_wall_is_out(heard):
    output = Failing(wall_of(10), lambda s: LinkError("gone") if 1 < s < 3 else None)
    other = MemoryOutput(wall_of(10))
    other.bench.recorder = Recorder(8, 3, None)
    company = [Companion("window:", lambda: other, output.bench.clock)]
    stage = Stage(steady(50), rate=10, output=output, company=company)
    stage.run(10)
    assert sum(slot.sent is None for slot in stage.slots) > 15
    assert len(other.bench.recorder) == 101


def test_a_file_that_is_full_ends_the_show_by_its_error_with_the_wall_dark():
    output = Failing(wall_of(10), lambda s: WriteError("full") if s > 1 else None)
    with pytest.raises(WriteError, match="full"):
        Stage(steady(50), rate=10, output=output).run(20)
    assert not output.bench.drives.any()


class Slow(MemoryOutput):
    """Takes more than a period for one frame, like a program that is held up."""

    def send(self, picture):
        sent = super().send(picture)
        if 0.95 * SECOND_NS < sent.starts_ns < 1.05 * SECOND_NS:
            self.bench.clock.wait_until(sent.starts_ns + 350 * MS)
        return sent


def test_frames_are_left_out_where_the_output_is_busy_and_the_rest_keeps_its_times():
    stage = Stage(steady(50), rate=10, output=Slow(wall_of(10)))
    stage.run(3)
    # Frame 10 lasts until 1.35 s: 11 and 12 have passed; 13 was due 50 ms ago, too long for it.
    assert [slot.number for slot in stage.slots] == [*range(11), *range(14, 30)]
    assert sum(slot.skipped for slot in stage.slots) == 3
    assert all(slot.sent.starts_ns == slot.due_ns for slot in stage.slots)


def test_the_rate_is_what_the_wire_carries():
    # 24 bits of 1.25 µs an LED and 50 µs reset (WS2812B datasheet): 8 LEDs take 0.29 ms.
    display = wall_of(9000)
    stage = Stage(steady(), rate=9000)
    assert Pace.of(display, stage.wall.link).frames_per_s == 3448.2  # 1/0.00029 = 3448.27…
    assert Pace.of(wall_of(60), stage.wall.link).frames_per_s == 60


@given(st.binary(max_size=64))
def test_any_bytes_are_a_picture_or_an_error_or_the_end(data):
    try:
        picture = read_answer(io.BytesIO(data), (1, 2, 3))
    except (SourceError, SceneError):
        return
    assert picture is None or picture.shape == (1, 2, 3)


def test_no_more_is_read_than_a_picture_has():
    class Endless(io.RawIOBase):
        most = 0

        def read(self, count=-1):
            self.most = max(self.most, count)
            return (b"P\xff\xff\xff\xff" + bytes(100))[:count]

    stream = Endless()
    with pytest.raises(SceneError):
        read_answer(stream, (1, 2, 3))
    assert stream.most == 5  # the head alone


def test_the_answer_with_a_picture_by_hand():
    # Built by hand: 'P', six bytes, least byte first, and the six bytes.
    picture = np.arange(6, dtype=np.uint8).reshape(1, 2, 3)
    assert encode_picture(picture) == b"P\6\0\0\0\0\1\2\3\4\5"
    light = struct.pack("<cI6f", b"L", 24, 0, 0.5, 1, 0, 0.25, 1)
    read = read_answer(io.BytesIO(light), (1, 2, 3))
    assert read.ravel().tolist() == [0, 0.5, 1, 0, 0.25, 1]
    assert encode_picture(read.astype(np.float64)) == light


def test_a_traceback_too_long_is_cut_at_its_beginning():
    answer = encode_trouble(SceneError("boom", trace="x" * 100_000 + "the end"))
    with pytest.raises(SceneError) as raised:
        read_answer(io.BytesIO(answer), (1, 2, 3))
    assert f"{raised.value}{raised.value.trace}".endswith("the end")
    assert len(answer) <= 65536 + 5


def test_the_current_log_agrees_with_the_current_of_the_whole_stack():
    display = wall_of(extra="[power]\nlimit_a = 0.3\n")
    rng = np.random.default_rng(3)
    frames = rng.integers(0, 256, (1000, 8, 3), dtype=np.uint8)
    log = CurrentLog(display)
    for number, frame in enumerate(frames):
        log.take(number * SECOND_NS, frame)
    amps = canvas.current_a(frames, display.chip)
    assert log.frames == 1000
    assert log.mean_a == pytest.approx(amps.mean())
    assert log.most_a == amps.max()
    assert log.most_ns == amps.argmax() * SECOND_NS
    assert log.over == (amps > 0.3).sum() > 0
    begins_s, mean_a, most_a = log.curve()
    assert begins_s.tolist() == list(range(0, 1000, 64))
    assert mean_a == pytest.approx([amps[i : i + 64].mean() for i in range(0, 1000, 64)])
    assert most_a.max() == amps.max()


def test_the_curve_of_a_long_show_stays_bounded_and_keeps_mean_and_most(monkeypatch):
    from harness.show.record import current

    monkeypatch.setattr(current, "_MOST_POINTS", 10)
    display = wall_of()
    levels = np.arange(64 * 100) % 251
    log = CurrentLog(display)
    for number, level in enumerate(levels):
        log.take(number, np.full((8, 3), level, np.uint8))
    begins_s, mean_a, most_a = log.curve()
    assert 5 <= len(begins_s) <= 10
    assert begins_s[0] == 0
    assert most_a.max() == log.most_a
    lengths = np.diff([*(begins_s * 1e9).round(), len(levels)])
    assert np.average(mean_a, weights=lengths) == pytest.approx(log.mean_a)


def test_the_tally_counts_what_the_slots_say():
    output = Failing(wall_of(10), lambda s: LinkError("gone") if 1.95 < s < 2.5 else None)
    stage = Stage(
        lambda time_s: (0, SceneError("x") if 5 < time_s < 5.5 else 50), rate=10, output=output
    )
    tally = Tally(stage.wall)
    stage.show = Show(stage.wall, stage.scene, None, stage.clock, Pace(10), tally.take)
    stage.run(10)
    assert (tally.frames, tally.unsent, tally.late) == (90, 10, 0)  # out from 2 to 3 s
    assert tally.shown["scene"] + tally.shown["held"] == 100
    assert tally.shown["held"] == pytest.approx(11, abs=1)


def test_the_tally_counts_what_was_left_out():
    stage = Stage(steady(50), rate=10, output=Slow(wall_of(10)))
    tally = Tally(stage.wall)
    Show(stage.wall, stage.scene, None, stage.clock, Pace(10), tally.take).run(
        3 * SECOND_NS, lambda: ""
    )
    assert (tally.frames, tally.skipped, tally.unsent) == (27, 3, 0)


def test_the_tally_counts_what_a_serial_link_lost():
    cable = Cable(wall_of(10))
    wall = LiveWall(cable.output, cable.clock)
    tally = Tally(wall)
    scene = Guard(
        "it", lambda: Script(steady(50), cable.clock, wall.display), cable.clock, SECOND_NS
    )

    def plug():
        now_s = cable.clock.now_ns() / SECOND_NS
        cable.plugged = not 1.95 < now_s < 4.95
        return ""

    Show(wall, scene, None, cable.clock, Pace(10), tally.take).run(10 * SECOND_NS, plug)
    wall.close()
    # The board is the oracle: the show's frames and the dark one at the end, less those it latched.
    # Those it latched, but could not acknowledge any more, are no more than the credit.
    lost = tally.frames + 1 - cable.board.status.latched
    assert tally.frames == 100
    assert lost <= tally.lost <= lost + CREDIT
    assert 30 <= lost <= 60  # out for 3 s; then the port is tried again within 2 s
    assert f" {tally.lost} lost on the link" in tally.line()
    assert wall.outages == 1


def test_flashes_are_told_once_an_hour(heard):
    display = wall_of(extra="[view]\ndistance_m = 1\n")
    log = FlashLog(display)

    def blink(begin_s, hertz, seconds=2):
        for number in range(2 * hertz * seconds):
            level = 255 * (number % 2)
            drives = np.full((8, 3), level, np.uint8)
            log.take(begin_s * SECOND_NS + number * SECOND_NS // (2 * hertz), drives)

    blink(0, 3)  # three a second are allowed: WCAG 2.2, SC 2.3.1
    assert heard == []
    blink(100, 5)
    blink(200, 5)
    blink(3600, 5)
    assert len(heard) == 1
    assert "general flashes at column" in heard[0]
    blink(3710, 5)
    assert len(heard) == 2


def test_work_aside_never_holds_up_the_show():
    going, seen = threading.Event(), []

    def work(time_ns, drives):
        going.wait(20)
        seen.append((time_ns, int(drives[0, 0])))

    aside = Aside(work)
    drives = np.zeros((1, 3), np.uint8)
    for number in range(1000):
        drives[:] = number % 256
        aside.take(number, drives)
    assert 1000 - 241 <= aside.left_out <= 1000 - 240
    going.set()
    aside.close()
    aside.close()
    assert len(seen) == 1000 - aside.left_out
    assert all(level == number % 256 for number, level in seen)


def test_a_show_is_kept_in_the_next_folder_where_one_is_taken(tmp_path):
    display = wall_of()
    frames = np.random.default_rng(1).integers(0, 256, (90, 8, 3), dtype=np.uint8)
    for _ in range(3):
        with Kept(tmp_path / "rec", display) as kept:
            for number, frame in enumerate(frames):
                kept.take(number * SECOND_NS // 30, frame)
        assert kept.line() == f"90 frames recorded in {kept.folder}"
        assert np.array_equal(load_recording(kept.folder).stored[:], frames)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["rec", "rec-2", "rec-3"]
    with pytest.raises(WriteError), Kept(Path("/dev/null/rec"), display):
        pass


def test_a_disk_that_fills_up_costs_frames_and_no_show(tmp_path, heard, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    frame = np.zeros((8, 3), np.uint8)
    with Kept(tmp_path / "rec", wall_of()) as kept:
        for number in range(4):
            if number == 2:
                monkeypatch.setattr(disk, "write_whole", full)
            kept.take(number * SECOND_NS, frame)
    assert kept.line() == f"1 frames recorded in {tmp_path}/rec, 3 lost"
    assert heard == [
        "frames are not recorded: [Errno 28] No space left on device; the show goes on"
    ]


def test_a_disk_that_is_full_from_the_start_is_told_and_the_show_begins(
    tmp_path, heard, monkeypatch
):
    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with Kept(tmp_path / "rec", wall_of()) as kept:
        kept.take(0, np.zeros((8, 3), np.uint8))
    assert kept.line() == "nothing was recorded"
    assert len(heard) == 1
    assert "No space left on device" in heard[0]


def test_the_log_is_kept_within_bounds(tmp_path, monkeypatch):
    from harness.show import log

    monkeypatch.setattr(log, "_MOST_BYTES", 1000)
    with told(tmp_path / "show.log") as show:
        for number in range(500):
            show.info("line %d", number)
    files = sorted(path.name for path in tmp_path.iterdir())
    assert files == ["show.log", *(f"show.log.{n}" for n in range(1, 5))]
    assert all(path.stat().st_size <= 1000 for path in tmp_path.iterdir())
    assert (tmp_path / "show.log").read_text().endswith("line 499\n")


def test_a_full_disk_does_not_stop_the_log(capsys):
    with told(Path("/dev/full")) as show:  # full(4): every write fails with ENOSPC
        show.info("going")
        show.info("still going")
    err = capsys.readouterr().err
    assert err.endswith(" still going\n")
    told_once = "the log /dev/full cannot be written (No space left on device); the show goes on\n"
    assert err.count(told_once) == 1
    assert len(err.splitlines()) == 3


def test_a_scene_may_say_twenty_lines_a_minute(heard):
    clock = SimulatedClock()
    said = Said("the scene", clock)
    said.take([b"line %d" % number for number in range(15)])
    clock.wait_until(59 * SECOND_NS)
    said.take([b"", b" \r", *[b"more"] * 8])
    assert heard == [f"the scene: line {n}" for n in range(15)] + ["the scene: more"] * 5
    clock.wait_until(60 * SECOND_NS)
    said.take()
    assert heard[20:] == ["the scene: 3 lines left out"]
    said.take([b"again"] * 21)
    said.end()
    said.end()
    assert heard[21:] == ["the scene: again"] * 20 + ["the scene: 1 lines left out"]


def test_what_a_scene_says_is_told_as_one_line_of_letters(heard):
    said = Said("a", SimulatedClock())
    said.take([b"\x1b[2Jred\rblue\xff\n", "grün".encode(), b"x" * 1200])
    assert heard == ["a:  [2Jred blue\ufffd", "a: grün", f"a: {'x' * 1000}…"]


@given(st.lists(st.binary(max_size=40).map(lambda data: data.replace(b"a", b"\n"))))
def test_lines_are_those_of_the_whole_however_it_is_cut(pieces):
    # Against bytes.split on all of it; nothing here reaches the bounds.
    lines, cut = Lines(), []
    for piece in pieces:
        some, more = lines.feed(piece)
        cut += some + [None] * more
    cut.append(lines.rest())
    whole = b"".join(pieces).split(b"\n")
    assert len(cut) == len(whole)
    assert all(one is None or one == other for one, other in zip(cut, whole, strict=True))


def test_lines_without_end_stay_bounded():
    lines = Lines()
    for _ in range(100):
        assert lines.feed(b"x" * 65_536) == ([], 0)
    assert len(lines.rest()) == 1001
    assert lines.feed(b"\n" * 50) == ([b"x" * 1001] + [b""] * 19, 30)


def test_a_log_that_cannot_be_opened_is_an_error_at_once(tmp_path):
    with pytest.raises(WriteError, match="Fix"), told(tmp_path / "no" / "folder.log"):
        pass


def test_signals_only_set_the_reason_and_are_given_back():
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    with Stopping() as stopping:
        assert stopping() == ""
        signal.raise_signal(signal.SIGTERM)
        assert stopping() == "SIGTERM"
    assert [signal.getsignal(number) for number in numbers] == before


def test_a_signal_that_is_ignored_stays_so():
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup(1) starts a program
    try:
        with Stopping() as stopping:
            signal.raise_signal(signal.SIGHUP)
            assert stopping() == ""
    finally:
        signal.signal(signal.SIGHUP, before)


def test_names_are_judged_without_running_anything(tmp_path):
    scene = tmp_path / "scene.py"
    scene.write_text("raise SystemExit(1)\n")
    check_name(str(scene))
    check_name("clock")
    check_name("chase")
    scene.write_text("def picture(:\n")
    with pytest.raises(SceneError, match=r"scene\.py"):
        check_name(str(scene))
    with pytest.raises(SceneError, match="cannot be read"):
        check_name(str(tmp_path / "none.py"))
    with pytest.raises(UnknownNameError, match="did you mean 'clock'"):
        check_name("clok")
