"""Hidden LEDs from end to end: right code passes, wrong code is named."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from emulator import (
    Bench,
    DiskRecorder,
    FaultError,
    canvas,
    load_recording,
    parse_display,
)
from emulator.ports.link import wire_link
from harness.checks.check import run_checks
from harness.checks.listening import Listening
from harness.flash.judge import judge_bench
from harness.patterns.pattern import PATTERNS
from harness.power import assess
from harness.subject.byled import by_led
from harness.subject.given import subject_of
from harness.subject.reception import Arrived
from harness.subject.subject import Subject, own_code
from harness.subject.trial import Trial
from tests.tables import telling

WALL = """
[grid]
columns = 9
rows = 6
{grid}
[chip]
part = "{part}"
[cover]
depth_mm = 60
[wiring]
{wiring}
"""


def wall(wiring: str, grid: str = "", part: str = "WS2812B"):
    return parse_display(WALL.format(wiring=wiring, grid=grid, part=part), Path("wall.toml"))


FIRST = wall("hidden_first = 1")
CORNER = "gaps = [{ column = 7, row = 0, columns = 2, rows = 2, hidden_leds = true }]"


def report_on(display, to_wire, *only):
    return run_checks(Trial(display, Subject("test", to_wire)), only)


def said(report):
    return [f.what for f in report.findings if f.severity == "fault"]


def forgetting(display, chain=False):
    """Code that knows only LEDs with a cell: it sends the first cell to the first LED."""
    wiring = display.wiring

    def to_wire(picture):
        drives = canvas.to_drives(picture, display)
        sent = np.zeros_like(drives)
        if "I" in display.chip.channels:
            sent[:, 3] = 31
        if chain:
            sent[: len(wiring.placed)] = drives[wiring.placed]
            return canvas.to_wire(sent, display)
        for line, start in enumerate(wiring.line_starts):
            own = drives[~wiring.hidden & (wiring.line == line)]
            sent[start : start + len(own)] = own
        return canvas.to_wire(sent, display)

    return to_wire


def lighting(display, lit):
    """Right code, but it lights these LEDs (positions) as `lit(picture)` says, a colour (3,)."""

    def to_wire(picture):
        drives = canvas.to_drives(picture, display)
        for led, colour in lit(picture).items():
            drives[led, :3] = colour
        return canvas.to_wire(drives, display)

    return to_wire


@pytest.mark.parametrize(
    ("wiring", "grid", "part"),
    telling(
        [
            ("hidden_first = 1", "", "WS2812B"),
            ("hidden_first = 1\nlines = 2", "", "SK6812-RGBW"),
            ("hidden_first = 2\nhidden_between = 1\nhidden_last = 3\nlines = 2", CORNER, "APA102"),
            ("hidden_last = 5\nalong = 'columns'", "", "LPD8806"),
            ("", CORNER, "WS2801"),
        ],
        lambda row: row[2] == "APA102",
    ),
)
def test_foreglows_own_code_passes_every_check(wiring, grid, part):
    display = wall(wiring, grid, part)
    report = run_checks(Trial(display, own_code(display)))
    assert (report.verdict, report.findings) == ("pass", ())
    hidden = int(display.wiring.hidden.sum())
    figures = report.to_json()["figures"]["map"]
    assert figures["leds_right"] == display.leds - hidden
    assert figures["hidden_lit"] == []
    (said,) = (r.summary for r in report.results if r.check == "map")
    assert said.endswith(f"{hidden} of {hidden} without a cell stay dark")


def test_code_that_forgets_the_first_led_is_told_so_in_words():
    report = report_on(FIRST, forgetting(FIRST))
    assert said(report) == [
        "every LED shows what is meant for the next: LED 0 has no cell and must stay dark, but the"
        " map leaves it out"
    ]
    (finding,) = (f for f in report.findings if f.severity == "fault")
    assert "keep a number for it, and send 0 in every channel for it" in finding.remedy


def test_the_leds_before_a_forgotten_one_are_not_blamed():
    display = wall("path = 'serpentine'", CORNER)
    (finding,) = (f for f in report_on(display, forgetting(display), "map").findings)
    first = int(np.flatnonzero(display.wiring.hidden)[0])
    assert first > 0
    assert finding.where == f"LEDs {first} to {display.leds - 1}"


@pytest.mark.parametrize("chain", [False, True])
def test_forgotten_leds_of_several_lines_are_named(chain):
    display = wall("hidden_first = 1\nlines = 2")
    (what,) = said(report_on(display, forgetting(display, chain), "map"))
    assert "line 0, LED 0; line 1, LED 0 have no cell and must stay dark" in what
    assert what.startswith(
        "counted through all lines, LEDs from line 0, LED 0 on show what is meant for those after"
        if chain
        else "every LED of lines 0 and 1 shows what is meant for the next"
    )


def test_code_that_knows_the_first_led_and_forgets_the_corner_is_sent_there():
    display = wall("hidden_first = 1", CORNER)
    hidden = display.wiring.hidden.copy()
    hidden[0] = False
    theirs = dataclasses.replace(display, wiring=dataclasses.replace(display.wiring, hidden=hidden))
    believed = forgetting(theirs)

    def to_wire(picture):
        lines = believed(picture)
        lines[0][:3] = 0
        return lines

    report = report_on(display, to_wire, "map")
    text = " ".join(f"{f.what} {f.remedy}" for f in report.findings)
    assert "LEDs 8 to 11" in text
    assert "have no cell" in text


def test_code_that_counts_a_first_led_that_is_not_there_is_told_the_key():
    report = report_on(wall(""), own_code(FIRST).to_wire, "map")
    (finding,) = (f for f in report.findings if f.severity == "fault")
    assert finding.what.startswith("everything is one LED late")
    assert "hidden_first = 1" in finding.remedy


@pytest.mark.parametrize(
    ("lit", "ending", "check"),
    [
        (lambda p: {0: p[0, 0]}, "shows column 0, row 0", "map"),
        (lambda p: {0: (255, 255, 255)}, "is lit", "map"),
        (lambda p: {0: (0, 2, 0)}, "is lit", "map"),
        (
            lambda p: {0: (40, 0, 0) if p[..., 0].sum() == 255 * 9 else (0, 0, 0)},
            "is lit",
            "patterns",
        ),
    ],
)
def test_a_lit_hidden_led_is_named(lit, ending, check):
    report = report_on(FIRST, lighting(FIRST, lit), "map", "patterns")
    (finding,) = report.findings
    assert (finding.check, finding.severity, finding.where) == (check, "fault", "LED 0")
    assert finding.what == f"LED 0 has no cell and must stay dark, but {ending}"


def test_spares_that_get_no_data_are_no_fault():
    display = wall("hidden_last = 4")

    def to_wire(picture):
        return [own_code(display).to_wire(picture)[0][: 3 * 54]]

    report = report_on(display, to_wire, "wire", "map")
    assert report.verdict == "pass"
    (note,) = report.findings
    assert (note.what, note.severity) == ("the last 4 LEDs of line 0 get no data", "note")

    def too_short(picture):
        return [own_code(display).to_wire(picture)[0][: 3 * 53]]

    assert report_on(display, too_short, "wire").verdict == "fail"


@pytest.mark.slow
def test_maps_as_csv_as_cells_and_by_led_may_leave_hidden_leds_dark(tmp_path):
    cells = FIRST.wiring.cell.tolist()
    path = tmp_path / "theirs.csv"
    entries = [f"0,{led},{cell % 9},{cell // 9}" for led, cell in enumerate(cells) if cell >= 0]
    path.write_text("\n".join(["line,led,column,row", *entries, ""]))

    def fill(leds, picture):
        for number, cell in enumerate(cells):
            leds[number] = canvas.to_drives(picture, FIRST)[number].tolist() if cell >= 0 else 0

    for given in (path, cells, fill):
        with subject_of(given, FIRST) as subject:
            assert run_checks(Trial(FIRST, subject), ("map",)).verdict == "pass"
    wrong = [cell for cell in cells if cell >= 0]
    with subject_of(wrong, FIRST) as subject:
        report = run_checks(Trial(FIRST, subject), ("map",))
    assert "LED 0 has no cell" in said(report)[0]


def test_code_by_led_sees_every_led_of_the_wire():
    seen = []

    def fill(leds, picture):
        seen.append(len(leds))

    by_led(fill, "fill", FIRST)(np.zeros(FIRST.picture_shape, np.uint8))
    assert seen == [6 * 9 + 1]


def test_one_led_more_takes_the_time_and_the_current_of_its_datasheet():
    # WS2812B datasheet: 24 bits of 1.25 µs each. 1 mA in the dark: common practice, no source.
    plain = wall("")
    bits_ns = [Bench(d).send(np.zeros(d.picture_shape)).wire_ns for d in (plain, FIRST)]
    assert bits_ns[1] - bits_ns[0] == 24 * 1250
    dark_a = [Bench(d).current() for d in (plain, FIRST)]
    assert dark_a[1] - dark_a[0] == pytest.approx(0.001, abs=1e-5)
    white = [canvas.current_a(canvas.to_drives(np.ones(d.picture_shape), d), d.chip)
             for d in (plain, FIRST)]  # fmt: skip
    assert white[1] - white[0] == pytest.approx(0.001)  # it stays dark: no 60 mA


def test_the_lowest_voltage_may_be_at_an_led_without_a_cell():
    # Fed at LED 1 of each run: the hidden LED behind the last cell is the farthest of the first.
    display = wall("hidden_first = 1\nhidden_last = 1\nlines = 6")
    assessed = assess(display)
    wiring = display.wiring
    low = assessed.lowest
    at = wiring.line_starts[low.line] + low.led
    assert wiring.hidden[at]
    assert (low.cell, low.column, low.row) == ("no cell", -1, -1)
    assert wiring.cell_in_words(at) == "no cell"
    assert wiring.cell_in_words(1) == "column 0, row 0"


def test_a_recording_keeps_hidden_leds(tmp_path):
    display = wall("hidden_first = 3\nhidden_last = 9", CORNER)  # more LEDs than cells
    assert display.leds > 54
    picture = np.random.default_rng(3).random(display.picture_shape)
    bench = Bench(display)
    with DiskRecorder(tmp_path / "rec", display) as recorder:
        bench.recorder = recorder
        bench.send(picture)
    found = load_recording(tmp_path / "rec")
    assert np.array_equal(found.cells(0), bench.picture)
    assert found.stored[0].shape == (display.leds, 3)
    assert found.place(0) == "no cell (line 0, LED 0)"
    columns, rows = found.columns_and_rows
    assert (columns[0], rows[0]) == (-1, -1)
    assert (columns[3], rows[3]) == (0, 0)


def test_faults_count_hidden_leds_as_the_wire_does():
    with pytest.raises(FaultError, match="LED 0 of line 0 is hidden"):
        Bench(FIRST, faults=["led-off-middle line=0 led=0"])
    bench = Bench(FIRST, faults=["data-open line=0 after=9"])
    bench.send(np.ones(FIRST.picture_shape))
    lit = bench.picture.any(axis=-1)
    assert lit[0].all()  # LED 0 has no cell, LEDs 1 to 9 are row 0
    assert not lit[1:].any()
    assert not bench.drives[0].any()


def test_nobody_sees_a_hidden_led_flash():
    # 20 frames/s, every other one lit: ten flashes a second, but behind the frame.
    display = wall("hidden_first = 80")
    bench = Bench(display)
    frames = np.zeros((40, 3 * display.leds), np.uint8)
    frames[::2, : 3 * 80] = 255
    bench.send_frames(frames, 50_000_000)
    judged = judge_bench(bench)
    assert judged.below
    assert judged.general.most == 0
    frames[::2] = 255
    bench = Bench(display)
    bench.send_frames(frames, 50_000_000)
    assert judge_bench(bench).general.most > 3


def test_a_program_that_lights_a_hidden_led_is_told_so():
    bench, listening = Bench(FIRST), Listening(FIRST)
    for number in range(8):
        bench.clock.wait_until(number * 40_000_000)
        lines = tuple(lighting(FIRST, lambda p: {0: (9, 9, 9)})(np.ones(FIRST.picture_shape)))
        listening.take(Arrived(bench.clock.now_ns(), lines, bench.send_frame([*lines])))
    report = listening.report("test", wire_link(FIRST), ())
    assert "LED 0 has no cell and must stay dark, but is lit" in said(report)
    frames = next(r for r in report.results if r.check == "frames")
    assert "54 of 54 LEDs were lit" in frames.summary


@pytest.mark.parametrize("name", PATTERNS)
def test_every_pattern_leaves_hidden_leds_dark(name):
    display = wall("hidden_first = 1\nhidden_between = 1", CORNER)
    pictures = PATTERNS[name].pictures(display)
    drives = canvas.to_drives(pictures, display)
    assert not drives[:, display.wiring.hidden].any()
    if name == "chase":
        lit = drives.any(axis=(2,))
        assert np.array_equal(lit, np.eye(display.leds, dtype=bool) & ~display.wiring.hidden)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(40))
def test_drawn_walls_right_code_passes_and_code_that_forgets_is_named(seed):
    rng = np.random.default_rng(seed)
    columns, rows = rng.integers(4, 13, 2).tolist()
    first, between, last = rng.integers(0, 3, 3).tolist()
    gap = ""
    if rng.random() < 0.5:
        at = rng.integers(0, 2, 2).tolist()
        gap = f"gaps = [{{ column = {at[0]}, row = {at[1]}, hidden_leds = true }}]"
    if not (first or between or gap):
        first = 1
    text = f"""
    [grid]
    columns = {columns}
    rows = {rows}
    {gap}
    [chip]
    part = "{rng.choice(["WS2812B", "SK6812-RGBW", "APA102"])}"
    [wiring]
    start = "{rng.choice(["top-left", "top-right", "bottom-left", "bottom-right"])}"
    along = "{rng.choice(["rows", "columns"])}"
    path = "{rng.choice(["serpentine", "progressive"])}"
    lines = {rng.integers(1, 4)}
    hidden_first = {first}
    hidden_between = {between}
    hidden_last = {last}
    """
    display = parse_display(text, Path("wall.toml"))
    right = run_checks(Trial(display, own_code(display)), ("wire", "map", "colour", "patterns"))
    assert right.findings == (), text
    for chain in (False, True):
        report = report_on(display, forgetting(display, chain), "map")
        assert report.verdict == "fail", text
        assert any("no cell" in what for what in said(report)), (text, said(report))
    stray = int(rng.choice(np.flatnonzero(display.wiring.hidden)))
    report = report_on(display, lighting(display, lambda p: {stray: (0, 9, 0)}), "map")
    (what,) = said(report)
    assert f"LED {display.wiring.led[stray]} has no cell and must stay dark" in what
