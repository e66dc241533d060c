"""How many lines a wall needs, against the frame time of the wall described with that many."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator import Display, parse_display
from emulator.errors import OutOfRangeError
from emulator.ports.lines import enough_lines, fewest_lines, most_leds, sharing
from emulator.ports.link import wire_link

GAP = "[[grid.gaps]]\ncolumn=3\nrow=2\ncolumns=9\nrows=30"
KINDS = (
    ("WS2812B", 60, 45, 30, ""),
    ("SK6812-RGBW", 50, 40, 40, "along = 'columns'"),
    ("APA102", 64, 33, 90, "path = 'progressive'"),
    ("WS2812B", 31, 77, 60, "hidden_first = 1\nhidden_last = 3"),
    (
        "WS2812B",
        40,
        40,
        50,
        f"along = 'columns'\n{GAP}",
    ),
)


def wall(part: str, columns: int, rows: int, rate: float, wiring: str, lines: int = 1) -> Display:
    keys, _, tables = wiring.partition("\n[[")
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='{part}'\n"
    text += f"[controller]\nframe_rate={rate}\n[wiring]\nlines={lines}\n{keys}\n"
    return parse_display(text + ("[[" + tables if tables else ""), Path("wall.toml"))


@pytest.mark.parametrize("kind", KINDS)
def test_so_many_lines_carry_the_rate_and_one_fewer_does_not(kind):
    lines = fewest_lines(wall(*kind), kind[3])
    assert lines is not None
    assert lines > 1
    assert wire_link(wall(*kind, lines=lines)).too_slow(kind[3]) is None
    assert wire_link(wall(*kind, lines=lines - 1)).too_slow(kind[3])
    assert fewest_lines(wall(*kind, lines=lines), kind[3]) == lines
    assert f"among {lines} lines" in sharing(wall(*kind), kind[3])
    assert sharing(wall(*kind, lines=lines), kind[3]) == ""


def test_leds_of_a_line_are_what_the_datasheet_leaves_time_for():
    # WS2812B datasheet: 24 bits of 1.25 µs an LED; the catalogue's reset after them.
    display = wall("WS2812B", 60, 45, 30, "")
    reset_ns = display.chip.wire.reset_ns
    assert most_leds(display, 30) == int((1e9 / 30 - reset_ns) // 30_000)
    assert most_leds(display, 1e9 / (reset_ns + 1)) == 0


def test_a_strip_that_is_too_long_by_itself_is_cut_or_refused():
    display = wall("WS2812B", 1200, 2, 30, "")
    assert fewest_lines(display, 30) is None
    assert f"3 lines or more, with cuts in strips: {most_leds(display, 30)} LEDs a line" in sharing(
        display, 30
    )
    with pytest.raises(OutOfRangeError, match="a strip has 1200 LEDs"):
        enough_lines(display)
