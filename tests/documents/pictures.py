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
from emulator.description.faults.reading import read_sentence
from emulator.light.look import Look
from emulator.light.still import page, still
from emulator.view.viewing import Viewing
from emulator.window import WallWindow
from harness.checks.check import run_checks
from harness.cli.light import labelled_covers
from harness.patterns.sources import example_picture, named_source
from harness.report.check.verdict import print_report
from harness.report.faults import fault_sheet
from harness.report.page.check import check_page
from harness.report.page.render import page_html
from harness.report.sheet.pack import bench_pack
from harness.report.sheet.svg import svg
from harness.result.report import Report
from harness.subject.subject import Subject
from harness.subject.trial import Trial
from tests.documents.screens import seen_in_chromium
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


def _wrong() -> tuple[Trial, Report]:
    """A check of code that takes the foyer's serpentine for progressive."""
    display = load_display("foyer")
    wiring = display.wiring

    def to_wire(picture: np.ndarray) -> list[np.ndarray]:
        drives = canvas.to_drives(picture, display)
        ahead = np.lexsort((wiring.column, wiring.row))  # each row from the left
        return canvas.to_wire(canvas.limit_current(drives[ahead], display.chip, 44.0), display)

    trial = Trial(display, Subject("show:to_wire", to_wire, lambda: 1_000_000))
    return trial, run_checks(trial, ("wire", "map", "colour", "power"))


def failed_check() -> Image.Image:
    """`foreglow check` of that code in the terminal."""
    trial, report = _wrong()
    console = recorder(96)
    print_report(report, trial.display, *trial.compare(example_picture(trial.display)), console)
    return drawn(console)


def report_page() -> Image.Image:
    """The top of its report in a browser."""
    trial, found = _wrong()
    return seen_in_chromium(page_html(check_page(found, trial)), 1200, 1000)


def bench_pack_back() -> Image.Image:
    """The page of the bench pack that one solders by."""
    pages = (svg(one, "foyer, bench pack") for one in bench_pack(load_display("foyer")))
    back = next(drawing for drawing in pages if "Seen from the back" in drawing)
    return seen_in_chromium(back, 1123, 794)


def covers() -> Image.Image:
    """The same letters behind covers of three depths."""
    display = load_display("foyer")
    light = canvas.meant_light(example_picture(display), display)
    tiles = [
        (label, still(wall, light, WALL_WIDE // 2))
        for label, wall in labelled_covers(display, "depth=15,30,49", Look())
    ]
    return page(display, tiles, 3, 3 * WALL_WIDE // 2)


def fault() -> Image.Image:
    """A joint that no data passes, beside the wall as planned."""
    display = load_display("foyer")
    return fault_sheet(display, read_sentence("data-open line=0 after=143", display))


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
    "report.png": report_page,
    "covers.png": covers,
    "fault.png": fault,
    "sheet.png": bench_pack_back,
    "aurora.png": scene("aurora", 20),
    "clock.png": scene("clock", 20),
    "lobby.png": scene("lobby", 10),
    "programme.png": scene("programme", 8),
}
BY_CHROMIUM = ("report.png", "sheet.png")
