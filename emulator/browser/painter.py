"""Draws and encodes the newest frame in a thread of its own, once for each size somebody waits for.

A moving picture is JPEG: a wall of 960 × 533 pixels takes 4 ms to draw and 4 ms to encode, and is
50 to 80 kB. PNG, deflated differences and WebP took 2 to 9 times as long to encode, raw pixels are
1.5 MB. A picture that stands still follows as PNG: its pixels are exact.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Callable
from dataclasses import dataclass

from PIL import Image

from emulator.browser.frame import Frame
from emulator.clock import SECOND_NS, Clock
from emulator.description.display import Display
from emulator.view.seen import Seen

_STILL_NS = SECOND_NS // 4  # after this time a picture stands still
_LOOK_S = 0.1  # how often it looks whether a picture stands still
_LEAST_WIDE = 200
_ZOOMED, _MOST_ZOOMED = 4, 4096  # pixels a cell and in all, up to which a page can zoom


@dataclass(frozen=True, eq=False)
class Picture:
    """An encoded picture. number: of its frame. wide: the size it was asked for. exact: a PNG."""

    number: int
    wide: int
    content: bytes
    exact: bool


def sizes(pixels_wide: int, columns: int) -> tuple[int, ...]:
    """The widths that are drawn, the largest first: each half of the one before.

    Where cells are small, larger ones than usual let a page zoom.
    """
    largest = pixels_wide
    while largest < _ZOOMED * columns and 2 * largest <= _MOST_ZOOMED:
        largest *= 2
    widths = [largest]
    while widths[-1] // 2 >= _LEAST_WIDE:
        widths.append(widths[-1] // 2)
    return tuple(widths)


class Painter:
    """Paints for viewers that wait; holds the newest frame alone, and no picture.

    deliver: called in the painter's thread with each picture.
    """

    def __init__(
        self, display: Display, clock: Clock, deliver: Callable[[Picture], object]
    ) -> None:
        self._display, self._clock, self._deliver = display, clock, deliver
        self.frame: Frame | None = None
        self._waiting: dict[object, tuple[int, int, bool]] = {}  # viewer → width, number, exact
        self._seen: dict[int, Seen] = {}
        self._last: dict[int, tuple[Picture, int]] = {}  # and when it was painted
        self._closing = False
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="foreglow browser", daemon=True)
        self._thread.start()

    def put(self, frame: Frame) -> None:
        """Show a frame instead of the one before."""
        with self._change:
            self.frame = frame
            self._change.notify_all()

    def wait_for(self, viewer: object, wide: int, number: int, exact: bool) -> None:
        """A viewer waits for a picture of a width after frame `number`; exact: it has its PNG."""
        with self._change:
            self._waiting[viewer] = wide, number, exact
            self._change.notify_all()

    def forget(self, viewer: object) -> None:
        """A viewer waits no more."""
        with self._change:
            self._waiting.pop(viewer, None)

    def close(self) -> None:
        """End the thread after the picture it paints."""
        with self._change:
            self._closing = True
            self._change.notify_all()
        self._thread.join()

    def _run(self) -> None:
        while True:
            with self._change:
                work = self._work()
                while not work and not self._closing:
                    self._change.wait(_LOOK_S if self._waiting else None)
                    work = self._work()
                if self._closing:
                    return
                frame = self.frame
            assert frame is not None
            for wide, exact in work.items():
                self._deliver(self._painted(frame, wide, exact))

    def _work(self) -> dict[int, bool]:
        """The widths to paint now, and whether exactly. Viewers that are served wait no more."""
        frame, work = self.frame, dict[int, bool]()
        if frame is None:
            return work
        for viewer, (wide, number, exact) in [*self._waiting.items()]:
            new = number < frame.number
            if new or (not exact and self._stands_still(frame, wide)):
                del self._waiting[viewer]
                work[wide] = work.get(wide, True) and not new
        return work

    def _stands_still(self, frame: Frame, wide: int) -> bool:
        """Whether the picture of a frame has been there for a while, or is already exact."""
        if wide not in self._last:
            return True
        picture, painted_ns = self._last[wide]
        still = self._clock.now_ns() - painted_ns > _STILL_NS
        return picture.number == frame.number and (picture.exact or still)

    def _painted(self, frame: Frame, wide: int, exact: bool) -> Picture:
        last = self._last.get(wide)
        if last is not None and last[0].number == frame.number and last[0].exact >= exact:
            return last[0]
        seen = self._seen.setdefault(wide, Seen(self._display, wide))
        seen.look(frame.viewing)
        seen.changes(frame.light, frame.status.time_ns)
        image = Image.fromarray(seen.draw(frame.light))
        content = io.BytesIO()
        if exact:
            image.save(content, "PNG", compress_level=1)
        else:
            image.save(content, "JPEG", quality=90, subsampling=0)
        picture = Picture(frame.number, wide, content.getvalue(), exact)
        self._last[wide] = picture, self._clock.now_ns()
        return picture
