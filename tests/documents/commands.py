"""The commands that documents show, and a folder to run them in."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np

from emulator import Bench, DiskRecorder, load_display, load_recording, open_output
from emulator.recording.export import export
from harness.checks.check import run_checks
from harness.cli.recording import record_to
from harness.patterns.pattern import ALL_PATTERNS
from harness.patterns.sources import all_sources
from harness.report.build.mapformats import map_csv
from harness.subject.subject import own_code
from harness.subject.trial import Trial
from tests.documents.pages import ROOT

SHOWN = re.compile(r"^ {4}(?:\$ )?(foreglow [a-z]+ [^#─\n]*)$", re.M)
IN_TABLES = re.compile(r"\| `(foreglow [a-z]+ [^`]*)`")

SHOW = """
import emulator
from emulator import canvas
DISPLAY = emulator.load_display("mywall")
WIRING = DISPLAY.wiring
def to_wire(picture):
    drives = canvas.to_drives(picture, DISPLAY)
    return canvas.to_wire(canvas.limit_current(drives, DISPLAY.chip, 60.0), DISPLAY)
def fill(leds, picture):
    for number in range(len(leds)):
        leds[number] = picture[WIRING.row[number], WIRING.column[number]]
"""
TEST = """
import numpy as np
import show
def test_black():
    assert not np.any(show.to_wire(np.zeros(show.DISPLAY.picture_shape, np.uint8)))
"""
SCENE = """
import numpy as np
def picture(time_s, display):
    rows, columns, _ = display.picture_shape
    wave = 0.5 + 0.5 * np.sin(np.arange(columns) / 3 - 2 * time_s)
    return np.tile(wave[:, None] * (1, 0.5, 0.1), (rows, 1, 1))
"""


def documents() -> list[Path]:
    """Every README and DEVELOPERS.md of the project."""
    found = [
        *ROOT.glob("*.md"),
        *(p for top in ("emulator", "harness", "scenes") for p in (ROOT / top).rglob("*.md")),
    ]
    return sorted(path for path in found if path.name != "CHANGELOG.md")


def commands() -> list[str]:
    """Each `foreglow …` that a document shows, once."""
    found: dict[str, None] = {}
    for path in documents():
        text = path.read_text()
        for command in (*SHOWN.findall(text), *IN_TABLES.findall(text)):
            found[" ".join(command.split())] = None
    return list(found)


def furnish(folder: Path) -> None:
    """Put what commands name into a folder: wall, code, scene, capture, recordings, a film."""
    from emulator.description.new import new_display_text, write_new

    display = write_new(folder / "mywall.toml", new_display_text(36, 20))
    (folder / "show.py").write_text(SHOW)
    (folder / "test_show.py").write_text(TEST)
    (folder / "myscene.py").write_text(SCENE)
    (folder / "theirs.csv").write_text(map_csv(display))
    (folder / "my.toml").write_text("reel = 12.50\n")
    report = run_checks(Trial(display, own_code(display)), ("wire",)).to_json()
    for name in ("old.json", "new.json"):
        (folder / name).write_text(json.dumps(report))
    (folder / "stills").mkdir()
    bench = Bench(display)
    with DiskRecorder(folder / "other", display) as recorder:
        bench.recorder = recorder
        bench.send(np.zeros(display.picture_shape, np.uint8))
    source = all_sources(display)["pattern coded-film"]
    record_to(folder / "coded", display, source, ALL_PATTERNS["coded-film"].lasts_s(display))
    export(load_recording(folder / "coded"), folder / "film.mp4")
    with open_output(f"vcd:{folder / 'capture.vcd'}", load_display("foyer")) as out:
        for level in (0, 90, 255):
            out.send(np.full(load_display("foyer").picture_shape, level, np.uint8))
