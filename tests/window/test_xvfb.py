"""The window on a real (virtual) X screen, driven by real keys and mouse clicks."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

XVFB, XDOTOOL = shutil.which("Xvfb"), shutil.which("xdotool")
pytestmark = pytest.mark.skipif(
    XVFB is None or XDOTOOL is None,
    reason="needs Xvfb and xdotool (Debian packages xvfb and xdotool)",
)
ROOT = Path(__file__).parents[2]
# Without -noreset the server starts again when its last program ends, and may miss the next.
QUIETLY = ("-nolisten", "tcp", "-noreset")
PROGRAM = """
import sys
import numpy as np
import pygame
import emulator
from emulator.window import WallWindow
from emulator.view.viewing import Viewing

display = emulator.load_display("foyer")

def picture(*cells):
    image = np.zeros(display.picture_shape, np.uint8)
    for column, row, colour in cells:
        image[row, column] = colour
    return lambda time_s: image

sources = {
    "first LED red": picture((0, 0, (255, 0, 0))),
    "last cell blue": picture((35, 19, (0, 0, 255))),
    "faint green": picture((10, 10, (0, 40, 0))),
}
scale = float(sys.argv[1])
window = WallWindow(
    display, sources, "first LED red", pixels_wide=720 / scale, viewing=Viewing(6, 0), scale=scale
)
print(window.screen._glass.window.handle, *window.screen.layout.wall, flush=True)
window.run()
print("closed", flush=True)
"""


def wait_for(found: Callable[[], object], what: str, polls: int = 400) -> object:
    """What `found` returns once it is true; asks every 25 ms for a limited time."""
    for _ in range(polls):
        result = found()
        if result:
            return result
        time.sleep(0.025)
    raise AssertionError(f"waited without result for {what}")


@pytest.fixture
def x_screen() -> Iterator[dict[str, str]]:
    """An X server of our own; the environment of its programs."""
    read, write = os.pipe()
    assert XVFB is not None
    server = subprocess.Popen(
        (XVFB, "-displayfd", str(write), "-screen", "0", "1000x700x24", *QUIETLY),
        pass_fds=(write,),
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        number = os.read(read, 16).decode().strip()  # ends when the server is ready, or gone
        assert number, "Xvfb did not start"
        environment = {k: v for k, v in os.environ.items() if k != "SDL_VIDEODRIVER"}
        yield environment | {"DISPLAY": f":{number}", "PYTHONPATH": str(ROOT)}
    finally:
        os.close(read)
        server.terminate()
        server.wait(10)


class Driven:
    """The program in its window, with keyboard and mouse."""

    def __init__(
        self,
        folder: Path,
        environment: dict[str, str],
        scale: str = "1",
        program: str = PROGRAM,
    ) -> None:
        self.folder, self.environment = folder, environment
        self.pictures = 0
        self.program = subprocess.Popen(
            [sys.executable, "-c", program, scale],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )

    def open(self) -> None:
        assert self.program.stdout is not None
        self.window, *wall = self.program.stdout.readline().split()
        self.wall = tuple(int(n) for n in wall)
        self.hand("windowfocus", self.window)

    def hand(self, *words: str) -> str:
        ran = subprocess.run(
            [str(XDOTOOL), *words], env=self.environment, capture_output=True, text=True, timeout=20
        )
        return ran.stdout.strip()

    def click(self, x: int, y: int) -> None:
        self.hand("mousemove", "--window", self.window, str(x), str(y), "click", "1")

    def saved(self) -> np.ndarray:
        """Press P; the picture it saves, once it is whole."""
        self.pictures += 1
        path = self.folder / f"foyer-{self.pictures:04d}.png"
        self.hand("key", "p")
        wait_for(lambda: path.exists() and path.stat().st_size > 0, path.name)
        with Image.open(path) as image:
            return np.asarray(image.convert("RGB")).astype(int)

    def saved_once(self, right: Callable[[np.ndarray], bool]) -> np.ndarray:
        """Save until a picture is right: what was asked for shows a frame or two later."""
        seen: list[np.ndarray] = []

        def saved_right() -> bool:
            seen.append(self.saved())
            return right(seen[-1])

        wait_for(saved_right, "the right picture", polls=15)
        return seen[-1]

    def shot(self) -> np.ndarray:
        """What the X server has in the root window, over the wire: no help from the program."""
        code = (
            "import sys; from PIL import ImageGrab;"
            "sys.stdout.buffer.write(ImageGrab.grab(xdisplay='').convert('RGB').tobytes())"
        )
        ran = subprocess.run(
            [sys.executable, "-c", code], env=self.environment, capture_output=True, check=True
        )
        return np.frombuffer(ran.stdout, np.uint8).reshape(700, 1000, 3).astype(int)


@pytest.fixture
def driven(x_screen: dict[str, str], tmp_path: Path) -> Iterator[Driven]:
    driven = Driven(tmp_path, x_screen)
    try:
        driven.open()
        yield driven
    finally:
        driven.program.kill()
        driven.program.communicate()


def test_keys_and_mouse_on_a_real_screen(driven):
    first = driven.saved()
    assert first.shape == (400, 720, 3)
    assert first[10, 10, 0] > 150
    assert first[:, :, 1:].max() == 0
    assert first[60:].max() == 0
    assert first[:, 60:].max() == 0

    # The same on the glass: find the wall's corner in a picture of the whole X screen.
    def red_on_screen() -> np.ndarray:
        shot = driven.shot()
        return np.argwhere((shot[:, :, 0] > 150) & (shot[:, :, 1:].max(axis=2) < 30))

    red = wait_for(lambda: len(found := red_on_screen()) and [found], "red on the X screen")[0]
    height, width = red.max(axis=0) - red.min(axis=0)
    assert height < 40
    assert width < 40
    top = red.min(axis=0)[0]  # of the wall on the screen: no window manager moves it

    driven.hand("key", "Down")
    last = driven.saved_once(lambda picture: picture[390, 710, 2] > 100)
    assert last[:340].max() == 0
    assert last[:, :660].max() == 0

    driven.click(driven.wall[0] + 710, driven.wall[1] + 390)
    accent = np.array([238, 178, 104])
    wait_for(
        lambda: (driven.shot()[top + 300 : top + 405] == accent).all(axis=2).sum() > 40,
        "the mark round the picked cell",
    )

    driven.hand("key", "q")
    out, _ = driven.program.communicate(timeout=30)
    assert out == "closed\n"
    assert driven.program.returncode == 0


@pytest.mark.slow
def test_a_window_resized_by_the_user_draws_its_wall_anew(driven):
    assert driven.saved().shape == (400, 720, 3)
    driven.hand("windowsize", "--sync", driven.window, "400", "600")
    after = driven.saved_once(lambda picture: picture.shape == (200, 360, 3))
    assert after[5, 5, 0] > 150
    assert after[40:].max() == 0


@pytest.mark.slow
def test_wheel_keys_and_drag_zoom_and_scroll(driven):
    """The X server's wheel is buttons 4 and 5. The lit cell is the one at the top left."""

    def lit(picture):
        found = np.argwhere(picture[:, :, 0] > 60)
        return [0, 0] if not len(found) else [*(found.max(axis=0) + 1)]

    first = lit(driven.saved())
    x, y = driven.wall[0] + 4, driven.wall[1] + 4
    driven.hand("mousemove", "--window", driven.window, str(x), str(y))
    driven.hand("click", "--repeat", "4", "--delay", "60", "4")
    # Four notches are twice as large; what is below the pointer stays.
    twice = driven.saved_once(lambda p: abs(lit(p)[1] - 2 * first[1]) <= 4)
    assert abs(lit(twice)[0] - 2 * first[0]) <= 4
    driven.hand(
        "mousemove", "--window", driven.window, str(x + 300), str(y + 200), "mousedown", "1"
    )
    driven.hand("mousemove", "--window", driven.window, str(x + 200), str(y + 200))
    driven.hand("mousemove", "--window", driven.window, str(x + 150), str(y + 200), "mouseup", "1")
    driven.saved_once(lambda p: lit(p) == [0, 0])  # scrolled 150 pixels to the right
    driven.hand("key", "ctrl+Left")
    back = driven.saved_once(lambda p: lit(p) != [0, 0])  # to the wall's corner
    assert 0 <= lit(back)[1] - lit(twice)[1] <= 5
    driven.hand("key", "minus")
    driven.saved_once(lambda p: lit(p)[1] < lit(back)[1] - 4)
    driven.hand("key", "0")
    driven.saved_once(lambda p: lit(p) == first)
    driven.hand("key", "plus")
    driven.saved_once(lambda p: abs(lit(p)[1] - 2**0.5 * first[1]) <= 4 or lit(p) == [0, 0])


@pytest.mark.slow
def test_keys_for_the_view_and_the_instruments(driven):
    """The keys as X names them: Prior and Next are the page keys."""
    assert driven.saved()[200:].max() == 0, "a dark room"
    driven.hand("key", "Prior")
    driven.hand("key", "Prior")
    lit = driven.saved_once(lambda picture: picture[300, 300].min() > 10)
    assert np.ptp(lit[300, 300]) == 0, "grey"
    driven.hand("key", "Next")
    driven.hand("key", "Next")
    dark = driven.saved_once(lambda picture: picture[300, 300].max() == 0)

    for _ in range(6):
        driven.hand("key", "Right")
    driven.saved_once(lambda picture: picture[:, :, 0].max() < dark[:, :, 0].max() - 5)
    for _ in range(6):
        driven.hand("key", "Left")
    driven.saved_once(lambda picture: np.array_equal(picture, dark))

    driven.hand("key", "Up")  # the one before the first is the last
    faint = driven.saved_once(lambda picture: 0 < picture[:, :, 1].max() < 60)
    driven.hand("key", "e")
    driven.saved_once(lambda picture: picture[:, :, 1].max() > 3 * faint[:, :, 1].max())
    driven.hand("key", "e")
    driven.saved_once(lambda picture: np.array_equal(picture, faint))
    driven.hand("key", "c")
    driven.saved_once(lambda picture: (picture != faint).any())

    driven.hand("windowsize", "--sync", driven.window, "900", "640")
    beside = driven.saved_once(lambda picture: picture.shape != (400, 720, 3))
    assert beside.shape[1] < 860
    driven.hand("key", "i")
    driven.saved_once(lambda picture: picture.shape[1] == 860)  # all but the margins
    driven.hand("key", "i")
    driven.saved_once(lambda picture: picture.shape == beside.shape)


@pytest.mark.slow
def test_the_help_covers_part_of_the_wall_at_twice_the_scale(x_screen, tmp_path):
    driven = Driven(tmp_path, x_screen, scale="2")
    try:
        driven.open()
        assert driven.saved().shape == (400, 720, 3)
        panel = np.array([28, 30, 36])

        def on_panel() -> int:
            return int((driven.shot() == panel).all(axis=2).sum())

        wait_for(lambda: on_panel() < 1000, "no panel yet")
        driven.hand("key", "h")
        wait_for(lambda: on_panel() > 100_000, "the help")
        driven.click(10, 10)
        wait_for(lambda: on_panel() < 1000, "the help to close by a click beside it")
    finally:
        driven.program.kill()
        driven.program.communicate()


@pytest.mark.slow
def test_a_full_screen_covers_all_of_a_screen_without_a_window_manager(x_screen, tmp_path):
    program = PROGRAM.replace("print(window", "window.screen.fill_screen()\nprint(window")
    filling = Driven(tmp_path, x_screen, program=program)
    with filling.program:
        try:
            filling.open()

            def full() -> bool:
                told = filling.hand("getwindowgeometry", filling.window)
                return "Position: 0,0 " in told and "Geometry: 1000x700" in told

            wait_for(full, "the full screen")
            filling.hand("key", "q")
            assert filling.program.wait(20) == 0
        finally:
            filling.program.kill()
