"""The window of `foreglow survey`: the camera while it films, clicks on corners, the result."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from emulator.clock import RealClock
from emulator.errors import SourceError, WindowError

if TYPE_CHECKING:
    from emulator.arrays import Floats, Srgb
    from emulator.description.display import Display
    from emulator.window.film_window import FilmWindow
    from harness.survey.footage import Footage, Frame
    from harness.survey.taking import Taking

_DRAWS_NS = 50_000_000  # between two frames that are shown
_CORNERS = ("top left", "top right", "bottom right", "bottom left")

Says = Callable[[str], None]


def open_window(title: str) -> FilmWindow | None:
    """A window; None where there is no screen."""
    try:
        from emulator.window.film_window import FilmWindow

        return FilmWindow(title)
    except WindowError:
        return None


def filmed(
    camera: str,
    name: str,
    wall: Display,
    path: Path,
    mirrored: bool,
    window: FilmWindow | None,
    says: Says,
) -> Footage:
    """A film of the pattern by a camera, in a file; shown in the window or in words.

    name: what the commands take for the wall. Raises as `take_film`.
    """
    from harness.report.survey.live import blinks, words_of
    from harness.survey.taking import take_film

    clock, drawn_ns = RealClock(), -_DRAWS_NS

    def show(frame: Frame, taking: Taking) -> bool:
        nonlocal drawn_ns
        if window is not None:
            window.take()
        if clock.now_ns() < drawn_ns + _DRAWS_NS:
            return window is None or not window.ended
        drawn_ns = clock.now_ns()
        words = words_of(taking, name)
        if window is None:
            says("  ".join(words).replace("Q or Escape", "Ctrl-C"))
            return True
        window.show(frame.rgb(), words, blinks(taking))
        return not window.ended

    return take_film(camera, len(wall.wiring.placed), path, show, mirrored=mirrored)


def clicked(picture: Srgb, window: FilmWindow | None) -> Floats:
    """(4, 2) where people click on the corner cells. Raises SourceError if they do not."""
    if window is None:
        raise SourceError(
            "there is no screen to click on",
            fix='give the corners in pixels of the picture: --corners "x,y x,y x,y x,y".',
        )
    import numpy as np

    window.ended = False
    window.clicks.clear()
    while len(window.clicks) < len(_CORNERS):
        window.take()
        if window.ended:
            raise SourceError(
                "the corners of the wall were not shown", fix="click on all four corner cells."
            )
        corner = _CORNERS[min(len(window.clicks), 3)]
        words = [
            f"Click on the middle of the wall's {corner} cell.",
            "As you see the wall from the front, upright. In a gap: where the cell would be.",
            "Backspace takes the last click back. Q or Escape ends.",
        ]
        window.show(picture, words)
        _pause()
    found = np.array(window.clicks)
    window.clicks.clear()
    return found


def shown_until_closed(picture: Srgb, words: list[str], window: FilmWindow) -> None:
    """The result, until the user ends."""
    window.ended = False
    while not window.ended:
        window.show(picture, words)
        window.take()
        _pause()


def _pause() -> None:
    clock = RealClock()
    clock.wait_until(clock.now_ns() + _DRAWS_NS)
