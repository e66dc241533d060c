"""The window of `foreglow survey`: the camera while it films, clicks on corners, the result."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from emulator.errors import SourceError, WindowError

if TYPE_CHECKING:
    from emulator.arrays import Floats, Srgb
    from emulator.description.display import Display
    from emulator.window.film_window import FilmWindow
    from harness.survey.footage import Footage, Frame
    from harness.survey.taking import Taking

_DRAWS_S = 0.05  # between two frames that are shown
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
    camera: str, wall: Display, path: Path, mirrored: bool, window: FilmWindow | None, says: Says
) -> Footage:
    """A film of the pattern by a camera, in a file; shown in the window or in words.

    Raises as `take_film`.
    """
    from harness.report.survey.live import blinks, words_of
    from harness.survey.taking import take_film

    drawn_s = -1.0

    def show(frame: Frame, taking: Taking) -> bool:
        nonlocal drawn_s
        if window is not None:
            window.take()
        now_s = time.monotonic()
        if now_s < drawn_s + _DRAWS_S:
            return window is None or not window.ended
        drawn_s = now_s
        words = words_of(taking, wall.name)
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
        time.sleep(_DRAWS_S)
    found = np.array(window.clicks)
    window.clicks.clear()
    return found


def shown_until_closed(picture: Srgb, words: list[str], window: FilmWindow) -> None:
    """The result, until the user ends."""
    window.ended = False
    while not window.ended:
        window.show(picture, words)
        window.take()
        time.sleep(_DRAWS_S)
