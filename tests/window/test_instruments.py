"""What the instruments show, in words and shapes."""

from __future__ import annotations

import numpy as np
import pygame
import pytest

from emulator import load_display
from emulator.view.colours import ACCENT, DIM
from emulator.view.controls import CONTROLS, Action
from emulator.view.gauges import gauges
from emulator.view.status import Status, Supply
from emulator.view.viewing import Viewing
from emulator.window.instruments import draw_instruments
from emulator.window.layout import GAUGE_HIGHS, Layout, Place
from emulator.window.style import Lettering

GOOD = Supply(15.0, 60.0, 45.0, 4.5)


def told(status, viewing=Viewing(6.0, 200.0)):  # noqa: B008 - frozen
    return {gauge.name: gauge for gauge in gauges(viewing, status)}


def test_there_is_one_for_each_place():
    assert len(gauges(Viewing(), Status("x", 0))) == len(GAUGE_HIGHS)


def test_current_stands_against_rating_and_limit():
    current = told(Status("x", 0, supply=GOOD))["Current"]
    assert (current.value, current.detail) == ("15.0 of 60 A", "limit 45 A")
    # 15/60 and 45/60.
    assert (current.filled, current.mark, current.alarm) == (0.25, 0.75, False)


def test_a_limit_above_the_rating_is_on_the_bar_too():
    current = told(Status("x", 0, supply=Supply(10.0, 20.0, 40.0, 5.0)))["Current"]
    assert (current.filled, current.mark) == (0.25, 1.0)


def test_the_lowest_rail_stands_against_the_supply():
    rail = told(Status("x", 0, supply=GOOD))["Lowest rail"]
    assert (rail.value, rail.filled) == ("4.50 of 5 V", 0.9)


def test_wire_time_is_a_share_of_the_frame():
    # 360 LEDs of 24 bits at 1.25 µs (800 kbit/s, WS2812B datasheet) take 10.8 ms: at 30
    # frames/s, 33.3 ms each, a share of 32.4 %.
    wire_ns, period_ns = 360 * 24 * 1250, 33_333_333
    wire = told(Status("x", 0, wire_ns, period_ns=period_ns))["Wire time"]
    assert (wire.value, wire.detail, wire.alarm) == ("10.8 ms", "32 % of a frame", False)
    assert wire.filled == pytest.approx(0.324, abs=1e-4)
    over = told(Status("x", 0, wire_ns, period_ns=10_000_000))["Wire time"]
    assert (over.detail, over.filled, over.alarm) == ("longer than a frame", 1.0, True)


def test_missed_frames_are_counted_by_kind():
    assert told(Status("x", 0, missed=((0, "computer late"),)))["Missed"].value == "0 frames"
    missed = told(Status("x", 0, missed=((2, "sent early"), (3, "wall late"))))["Missed"]
    assert (missed.value, missed.detail) == ("5 frames", "2 sent early, 3 wall late")
    assert missed.alarm
    missed = told(Status("x", 0, missed=((0, "computer late"), (1, "wall late"))))["Missed"]
    assert (missed.value, missed.detail) == ("1 frame", "1 wall late")


def test_rate_and_view_are_told():
    shown = told(Status("x", 0, frame_rate=29.94, wanted=30.0))
    assert shown["Frames/s"].value == "29.9 of 30"
    assert (shown["Seen from"].value, shown["Light around"].value) == ("6 m", "200 lx")
    assert told(Status("x", 0, frame_rate=12.0))["Frames/s"].value == "12.0"


def test_the_light_around_names_the_keys_that_change_it():
    names = {control.action: control.key_name for control in CONTROLS}
    darker, lighter, night = (names[a] for a in (Action.DARKER, Action.LIGHTER, Action.NIGHT))

    def detail(viewing):
        return told(Status("x", 0), viewing)["Light around"].detail

    assert darker in detail(Viewing(6.0, 200.0))
    assert lighter in detail(Viewing(6.0, 0.0))
    assert detail(Viewing(6.0, 200.0, night=True)).startswith(f"{night}:")


def drawn(status, size=(1212, 608), scale=1.0):
    """(layout, pixels (height, width, 3)) of the instruments, drawn over a ground of its own."""
    layout = Layout.fit(load_display("foyer"), size, scale)
    surface = pygame.Surface(size)
    surface.fill((255, 0, 255))
    draw_instruments(surface, layout, Lettering(scale), gauges(Viewing(6.0, 200.0), status))
    return layout, pygame.surfarray.array3d(surface).swapaxes(0, 1).astype(int)


@pytest.fixture(autouse=True)
def screen(dummy_screen):
    """Letters take the format of an open window."""
    pygame.display.init()
    window = pygame.Window("letters", (10, 10))
    window.get_surface()
    yield
    window.destroy()


@pytest.mark.parametrize(
    ("size", "scale"), [((1212, 608), 1.0), ((700, 900), 1.0), ((732, 341), 1.0), ((2424, 1216), 2)]
)
def test_they_fill_their_place_and_nothing_else(size, scale):
    status = Status(
        "x", 0, 10_800_000, 29.9, 30.0, GOOD, 33_333_333, ((3, "computer late"), (1, "wall late"))
    )
    layout, pixels = drawn(status, size, scale)
    assert layout.place is not Place.NOWHERE
    room = layout.instruments
    inside = pixels[room.top : room.bottom, room.left : room.right]
    assert not (inside == (255, 0, 255)).all(axis=2).any()
    outside = pixels.copy()
    outside[room.top : room.bottom, room.left : room.right] = (255, 0, 255)
    assert (outside == (255, 0, 255)).all()
    # Nothing is written into the margin, nor below the last line.
    edge, line = layout.px(6), layout.px(1)  # a line divides them from the wall
    assert inside[-edge:, line:].max() < 40
    assert inside[line:, -edge:].max() < 40


def longest_run(row):
    """Most pixels in a row that are True."""
    best = count = 0
    for value in row:
        count = count + 1 if value else 0
        best = max(best, count)
    return best


def test_the_bar_is_as_long_as_the_share():
    layout, pixels = drawn(Status("x", 0, supply=Supply(30.0, 60.0, None, 5.0)))
    inner = layout.instruments.width - 2 * layout.px(20)
    bars = [longest_run((row == DIM).all(axis=1)) for row in pixels]
    assert inner // 2 in bars, "half of the bar of the current"
    assert inner in bars, "all of that of the rail"


def test_an_alarm_is_a_sign_and_words_not_a_colour_alone():
    good = drawn(Status("x", 0, supply=GOOD))[1]
    bad = drawn(Status("x", 0, supply=Supply(46.0, 60.0, 45.0, 4.5)))[1]
    assert not (good == ACCENT).all(axis=2).any()
    # In shades of grey, as with no colour vision at all, below the bar of the first instrument:
    layout, _ = drawn(Status("x", 0))
    top, left = layout.instruments.top + 20 + 28, layout.instruments.left + 20
    sign = bad[top : top + 18, left : left + 13].mean(axis=2) > 100
    wide = sign.sum(axis=1)[sign.any(axis=1)]
    assert wide[0] <= 2, "a triangle, with its point above"
    assert wide[-1] >= 11
    words = np.abs(good.mean(axis=2) - bad.mean(axis=2))[top : top + 18, left + 18 :]
    assert (words > 60).sum() > 100
