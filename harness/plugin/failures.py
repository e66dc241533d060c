"""Pictures of a failed test: a small one in the terminal, and PNG files.

The process that runs the test (a worker under pytest-xdist) writes them and adds the text to its
report. `collecting` makes the page.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence
from typing import Any

import pytest

from emulator.arrays import Light
from emulator.bench import Bench
from emulator.description.display import Display
from emulator.errors import WriteError
from emulator.files import write_whole
from emulator.light.still import png
from harness.assertions.failure import CourseFailure, PictureFailure
from harness.plugin.places import PICTURES, command_for, report_folder
from harness.report.check.cellpicture import cell_picture
from harness.report.check.coursechart import course_chart
from harness.report.page.film import Film
from harness.report.page.page import wall_layout
from harness.report.picture import letter_picture

_MOST_LETTERS = 160  # columns or rows: larger walls are not drawn in the terminal


def pictured(
    item: pytest.Item, failed: pytest.ExceptionInfo[BaseException], report: pytest.TestReport
) -> dict[str, Any]:
    """What the page says about a failed test; nothing if no wall is involved."""
    error = failed.value
    bench = getattr(item, "funcargs", {}).get("bench")
    crash = getattr(report.longrepr, "reprcrash", None)
    ours = isinstance(error, PictureFailure | CourseFailure)
    if ours and crash is not None:
        crash.message = f"AssertionError: {error}"  # not the long name of our class
    if ours or isinstance(bench, Bench):
        return _keep(item, failed, bench, report)
    return {}


def _keep(
    item: pytest.Item,
    failed: pytest.ExceptionInfo[BaseException],
    bench: Bench | None,
    report: pytest.TestReport,
) -> dict[str, Any]:
    """Write the pictures of a failed test; returns what the page says about it."""
    error = failed.value
    message, _, letters = str(error).partition("\n\n")
    cell = error.cell if isinstance(error, PictureFailure | CourseFailure) else None
    charts = []
    if isinstance(error, PictureFailure):
        display, pictures = error.display, list(error.pictures)
    elif isinstance(error, CourseFailure):
        display, letters, message = error.display, "", str(error)
        charts.append((error.course.what, course_chart(error.course)))
        pictures = [("shown at the end", bench.picture)] if bench is not None else []
    else:
        assert bench is not None
        message, letters = failed.exconly().removeprefix("AssertionError: "), ""
        display, pictures = bench.display, [("shown at the end", bench.picture)]
        if max(display.picture_shape) <= _MOST_LETTERS:
            wall = "\n".join(letter_picture(bench.picture, display.gap))
            report.sections.append(("the wall when the test failed", wall))
    grid = display.grid
    facts = f"{display.name}: {grid.columns} × {grid.rows} cells, {display.leds} LEDs"
    if bench is not None:
        frames = len(bench.frames)
        facts += f"; {frames} frame{'s' * (frames != 1)}, {bench.clock.now_ns() / 1e9:.3f} s"
    kept = []
    drawn = [(label, png(cell_picture(light, display.gap, cell))) for label, light in pictures]
    for label, data in (*charts, *drawn):
        name = f"{_file_name(str(item.nodeid))}-{_file_name(label)}.png"
        try:
            write_whole(report_folder(item.config) / PICTURES / name, data)
            if (label, data) in charts:
                kept.append((label, name))
        except WriteError as problem:  # the failure of the test matters more
            report.sections.append(("foreglow: no pictures", str(problem)))
    return {
        "failed": {
            "test": str(item.nodeid),
            "facts": facts,
            "message": message,
            "letters": letters,
            "command": command_for(item),
            "films": [film.packed() for film in _films(pictures, display)],
            "cell": -1 if cell is None else cell[1] * display.grid.columns + cell[0],
        },
        "wall": wall_layout(display),
        "images": kept,
    }


def _films(pictures: Sequence[tuple[str, Light]], display: Display) -> list[Film]:
    """What was expected and shown as one film; the pictures of other failures one by one."""
    if [label for label, _ in pictures[:2]] == ["expected", "shown"]:
        (_, expected), (_, shown) = pictures[:2]
        return [Film.of_light("the wall", "", [(expected, shown)], display.gap)]
    return [Film.of_shown(label, "", light, display.gap) for label, light in pictures]


def _file_name(text: str) -> str:
    """A readable file name, different for different texts, whatever characters they have."""
    plain = re.sub(r"[^A-Za-z0-9-]+", "_", text)[-80:].strip("_")
    return plain if plain == text else f"{plain}-{zlib.crc32(text.encode()):08x}"
