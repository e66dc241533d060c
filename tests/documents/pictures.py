"""The pictures of the documents: `python -m tests.documents` draws them."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import numpy as np
import pygame
from PIL import Image

from emulator import SimulatedClock, canvas, load_display
from emulator.light.still import still
from emulator.view.viewing import Viewing
from emulator.window import WallWindow
from harness.checks.check import run_checks
from harness.patterns.sources import example_picture, named_source
from harness.report.check.verdict import print_report
from harness.subject.subject import Subject
from harness.subject.trial import Trial
from tests.documents.terminal import drawn, recorder

FOLDER = Path(__file__).parent / "pictures"
WALL_WIDE = 640


@contextlib.contextmanager
def _no_screen() -> Iterator[None]:
    """SDL's own driver that draws in memory."""
    before = os.environ.get("SDL_VIDEODRIVER")
    os.environ["SDL_VIDEODRIVER"] = "dummy"
    try:
        yield
    finally:
        pygame.display.quit()
        if before is None:
            del os.environ["SDL_VIDEODRIVER"]
        else:
            os.environ["SDL_VIDEODRIVER"] = before


def window() -> Image.Image:
    """The window with the lobby on the foyer's wall, and the card of one LED."""
    display = load_display("foyer")
    with _no_screen():
        shown = WallWindow(
            display,
            {"lobby": lambda time_s: named_source("lobby", display)(time_s + 10)},
            "lobby",
            real_time=False,
            clock=SimulatedClock(),
            pixels_wide=WALL_WIDE,
            viewing=Viewing(6.0, night=True),
        )
        shown.state.picked = (30, 3)
        try:
            for _ in range(60):
                shown.step()
            pixels = pygame.surfarray.array3d(shown.screen.surface).swapaxes(0, 1)
        finally:
            shown.close()
    return Image.fromarray(np.ascontiguousarray(pixels))


def failed_check() -> Image.Image:
    """`foreglow check` of code that takes the foyer's serpentine for progressive."""
    display = load_display("foyer")
    wiring = display.wiring

    def to_wire(picture: np.ndarray) -> list[np.ndarray]:
        drives = canvas.to_drives(picture, display)
        ahead = np.lexsort((wiring.column, wiring.row))  # each row from the left
        return canvas.to_wire(canvas.limit_current(drives[ahead], display.chip, 44.0), display)

    trial = Trial(display, Subject("show:to_wire", to_wire, lambda: 1_000_000))
    report = run_checks(trial, ("wire", "map", "colour", "power"))
    console = recorder(96)
    print_report(report, display, *trial.compare(example_picture(display)), console)
    return drawn(console)


def scene(name: str, time_s: float, display: str = "foyer") -> Callable[[], Image.Image]:
    """A demo scene on the wall, behind its covers."""

    def draw() -> Image.Image:
        wall = load_display(display)
        light = canvas.meant_light(named_source(name, wall)(time_s), wall)
        return still(wall, light, WALL_WIDE // 2)

    return draw


PICTURES: Mapping[str, Callable[[], Image.Image]] = {
    "window.png": window,
    "check.png": failed_check,
    "aurora.png": scene("aurora", 20),
    "clock.png": scene("clock", 20),
    "lobby.png": scene("lobby", 10),
    "programme.png": scene("programme", 8),
}
