"""Pictures of a failed test: a small one in the terminal, and PNG files.

A test's own process, which is a worker under pytest-xdist, writes them and tells the rest in its
report; `collecting` makes the page of them.
"""

from __future__ import annotations

import re
import zlib
from typing import Any

import pytest

from emulator.bench import Bench
from emulator.errors import WriteError
from emulator.files import write_whole
from emulator.light.still import png
from harness.assertions.failure import PictureFailure
from harness.plugin.places import PICTURES, command_for, report_folder
from harness.report.check.cellpicture import cell_picture
from harness.report.picture import letter_picture

_MOST_LETTERS = 160  # columns or rows of a wall that is drawn in the terminal unasked


def pictured(
    item: pytest.Item, failed: pytest.ExceptionInfo[BaseException], report: pytest.TestReport
) -> dict[str, Any]:
    """What the page tells about a failed test; nothing where it shows no wall."""
    error = failed.value
    bench = getattr(item, "funcargs", {}).get("bench")
    crash = getattr(report.longrepr, "reprcrash", None)
    if isinstance(error, PictureFailure) and crash is not None:
        crash.message = f"AssertionError: {error}"  # not the long name of a class of ours
    if isinstance(error, PictureFailure) or isinstance(bench, Bench):
        return _keep(item, failed, bench, report)
    return {}


def _keep(
    item: pytest.Item,
    failed: pytest.ExceptionInfo[BaseException],
    bench: Bench | None,
    report: pytest.TestReport,
) -> dict[str, Any]:
    """Write the pictures of a failed test; returns what the page tells about it."""
    error = failed.value
    message, _, letters = str(error).partition("\n\n")
    if isinstance(error, PictureFailure):
        display, pictures = error.display, list(error.pictures)
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
    for label, light in pictures:
        name = f"{_file_name(str(item.nodeid))}-{_file_name(label)}.png"
        try:
            path = report_folder(item.config) / PICTURES / name
            write_whole(path, png(cell_picture(light, display.gap)))
            kept.append((label, name))
        except WriteError as problem:  # the test has failed already; that is what counts
            report.sections.append(("foreglow: no pictures", str(problem)))
    return {
        "test": str(item.nodeid),
        "facts": facts,
        "message": message,
        "letters": letters,
        "command": command_for(item),
        "pictures": kept,
    }


def _file_name(text: str) -> str:
    """Readable, and different for different texts, whatever characters are in them."""
    plain = re.sub(r"[^A-Za-z0-9-]+", "_", text)[-80:].strip("_")
    return plain if plain == text else f"{plain}-{zlib.crc32(text.encode()):08x}"
