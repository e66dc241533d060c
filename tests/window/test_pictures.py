"""Screenshots against stored ones; `pytest --foreglow-update` stores what is drawn now.

Letters come out of the face that Pillow brings with it, so the machine's fonts play no part. What
differs between versions of it and of SDL, edges of letters and the last code value, is evened out:
means of 4 × 4 pixels are compared.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pygame
import pytest
from PIL import Image

from emulator import SimulatedClock, load_display, parse_display
from emulator.errors import SceneError
from emulator.view.viewing import Viewing
from emulator.window import WallWindow

STORED = Path(__file__).parent / "pictures"
MOST_OFF, MOST_SHARE_OFF = 14, 0.003  # code values of a mean; share of means off by half of it

OVERLOADED = """
[grid]
columns = 24
rows = 10
[chip]
part = "WS2812B"
[wiring]
[power]
supply = [{ amps = 3 }]
[controller]
frame_rate = 200
[cover]
depth_mm = 20
"""


# Fixed words: the path of a real file is another on every machine.
TRACE = """Traceback (most recent call last):
  File "myscene.py", line 12, in picture
    return dusk(time_s)
  File "myscene.py", line 5, in dusk
    return sky * max(time_s / 60, 1)
NameError: name 'sky' is not defined
"""


def overloaded():
    return parse_display(OVERLOADED, Path("overloaded.toml"))


def steps(display):
    """A picture of our own, of every colour and level: nothing that a scene could change."""
    rows, columns, _ = display.picture_shape
    picture = np.zeros(display.picture_shape, np.uint8)
    level = np.linspace(0, 255, columns).astype(np.uint8)
    for channel in range(3):
        picture[channel * rows // 4 : (channel + 1) * rows // 4, :, channel] = level
    picture[3 * rows // 4 :] = level[:, None]
    return picture


def broken(time_s):
    raise SceneError("myscene.py raised NameError: name 'sky' is not defined", trace=TRACE)


def opened(display, **options):
    sources = {
        "steps": lambda time_s: steps(display),
        "white": lambda time_s: np.full(display.picture_shape, 255, np.uint8),
        "broken": broken,
    }
    playing = options.pop("playing", "steps")
    options = {"real_time": False, "clock": SimulatedClock(), "pixels_wide": 480} | options
    return WallWindow(display, sources, playing, **options)


def plain():
    return opened(load_display("foyer"))


def by_night():
    return opened(load_display("foyer"), viewing=Viewing(6.0, night=True, led_colours=True))


def dense_with_card():
    window = opened(load_display("sign"), pixels_wide=240, scale=2.0, viewing=Viewing(3.0))
    window.state.picked = (3, 2)
    window.state.numbers = window.state.path = True
    return window


def with_help():
    window = opened(load_display("foyer"))
    window.state.help = True
    return window


def overload_below():
    window = opened(overloaded(), playing="white", viewing=Viewing(3.0))
    window.screen._glass.window.size = (520, 496)
    return window


def with_traceback():
    window = opened(load_display("foyer"), playing="broken")
    window.state.instruments = False
    return window


MADE: dict[str, Callable[[], WallWindow]] = {
    made.__name__.replace("_", "-"): made
    for made in (plain, by_night, dense_with_card, with_help, overload_below, with_traceback)
}


def blocks(pixels):
    """Means over 4 × 4 pixels (h/4, w/4, 3); what is left over at the edges is dropped."""
    high, wide = pixels.shape[0] // 4 * 4, pixels.shape[1] // 4 * 4
    return pixels[:high, :wide].reshape(high // 4, 4, wide // 4, 4, 3).mean(axis=(1, 3))


def differences(actual, stored):
    """Visible differences, in words; '' if there are none."""
    if actual.shape != stored.shape:
        return f"the size is {actual.shape[1::-1]}, not {stored.shape[1::-1]}"
    off = np.abs(blocks(actual.astype(float)) - blocks(stored.astype(float))).max(axis=2)
    share = float((off > MOST_OFF / 2).mean())
    if off.max() <= MOST_OFF and share <= MOST_SHARE_OFF:
        return ""
    row, column = np.unravel_index(off.argmax(), off.shape)
    return (
        f"up to {off.max():.0f} code values off, at ({4 * column}, {4 * row});"
        f" {share:.1%} of the picture differs"
    )


def drawn(name):
    """(height, width, 3) uint8 of a window after two steps."""
    window = MADE[name]()
    try:
        window.step()
        window.step()
        return pygame.surfarray.array3d(window.screen.surface).swapaxes(0, 1)
    finally:
        window.close()


def stored(name):
    with Image.open(STORED / f"{name}.png") as image:
        return np.asarray(image.convert("RGB"))


@pytest.mark.parametrize("name", MADE)
def test_the_window_looks_as_it_did(name, dummy_screen, pytestconfig, tmp_path):
    actual, path = drawn(name), STORED / f"{name}.png"
    if pytestconfig.getoption("--foreglow-update", default=False):
        STORED.mkdir(exist_ok=True)
        Image.fromarray(np.ascontiguousarray(actual)).save(path, optimize=True)
    assert path.exists(), "not stored yet: look at it after `pytest --foreglow-update`"
    found = differences(actual, stored(name))
    if found:
        Image.fromarray(np.ascontiguousarray(actual)).save(tmp_path / f"{name}.png")
    assert not found, f"{name}: {found}\n  stored: {path}\n  drawn:  {tmp_path / name}.png"


def test_there_are_no_pictures_of_nothing():
    assert {path.stem for path in STORED.glob("*.png")} == set(MADE)
    assert sum(path.stat().st_size for path in STORED.iterdir()) < 300_000


@pytest.mark.parametrize(
    "spoil",
    [
        lambda p: np.roll(p, 4, axis=1),
        lambda p: p[:, :-4],
        lambda p: np.where(np.indices(p.shape[:2])[0][..., None] < 300, p, 20),  # no strip
        lambda p: np.minimum(p * 1.1, 255),
        lambda p: p[..., ::-1],
    ],
    ids=["moved", "narrower", "strip gone", "a tenth brighter", "red and blue swapped"],
)
def test_a_picture_that_really_changes_is_found_out(spoil):
    before = stored("plain")
    assert differences(before, before) == ""
    assert differences(spoil(before.astype(float)), before)


def test_one_word_that_changes_is_found_out(dummy_screen):
    window = plain()
    window.state.paused = True
    window.step()
    one = pygame.surfarray.array3d(window.screen.surface).swapaxes(0, 1)
    window.state.viewing = window.state.viewing.moved(1)
    window.step()
    window._clock.wait_until(10_000_000_000)  # the note of it is gone
    window.step()
    other = pygame.surfarray.array3d(window.screen.surface).swapaxes(0, 1)
    window.close()
    assert differences(other, one), "'6 m' has become '8 m'"
