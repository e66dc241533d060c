"""The cut list against hand-worked numbers, and the printed map against the wiring."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from emulator.description.cutlist import cut_list, direction, length_mm
from emulator.description.display import Display
from emulator.description.load import parse_display
from emulator.power.network import build_network
from harness.report.build.buildsheet import print_map


def wall(wiring: str, columns: int, rows: int, grid: str = "") -> Display:
    text = (
        f'[grid]\ncolumns = {columns}\nrows = {rows}\n{grid}\n[chip]\npart = "SK6812"\n'
        f"[wiring]\n{wiring}\n"
    )
    return parse_display(text, Path("wall.toml"))


def printed(display: Display, width: int) -> str:
    console = Console(file=io.StringIO(), width=width, color_system=None)
    print_map(display, console)
    output = console.file
    assert isinstance(output, io.StringIO)
    return output.getvalue()


def grid_numbers(text: str) -> dict[tuple[int, int], str]:
    """(column, row) → what the printed grid shows there, put together from all blocks."""
    found = {}
    heads: list[int] = []
    for line in text.splitlines():
        if line.startswith("column "):
            heads = [int(word) for word in line.split()[1:]]
        elif match := re.match(r"row (\d+) +(?:line \d+)?(.*)", line):
            shown = re.findall(r"[\d:]+|··", match.group(2))
            assert len(shown) == len(heads), line
            found.update({(c, int(match.group(1))): s for c, s in zip(heads, shown, strict=True)})
    return found


# ---- cut list --------------------------------------------------------------------------------


def test_run_longer_than_a_reel_is_joined_from_a_whole_reel_and_the_rest() -> None:
    # By hand: 200 = 150 + 50; the 50 needs a second reel, on which 100 stay.
    cuts = cut_list(wall("", 200, 1), 150)
    assert [(p.first, p.last) for p in cuts.pieces] == [(0, 149), (150, 199)]
    assert cuts.joined == (0,)
    assert [reel.left_over for reel in cuts.reels] == [0, 100]


def test_short_pieces_fill_what_long_ones_leave() -> None:
    # By hand: rows of 7 with gaps leave runs of 7, 4+2, 7 from reels of 9: 7+2, 7, 4.
    cuts = cut_list(wall("", 7, 3, "gaps = [{ column = 4, row = 1 }]"), 9)
    assert [[p.leds for p in reel.pieces] for reel in cuts.reels] == [[7, 2], [7], [4]]
    assert [reel.left_over for reel in cuts.reels] == [0, 2, 5]


def test_fewest_counts_long_pieces_that_cannot_share_a_reel() -> None:
    # By hand: three pieces of 80 are 240 LEDs, 1.6 reels of 150, but each needs its own reel.
    assert cut_list(wall("", 80, 3), 150).fewest == 3
    # One LED less in one of them changes nothing.
    assert cut_list(wall("", 80, 3, "gaps = [{ column = 0, row = 1 }]"), 150).fewest == 3


def test_no_certainty_is_claimed_where_packing_longest_first_wastes_a_reel() -> None:
    # By hand: 4, 3, 3, 2, 2, 2 fit reels of 8 as 4+2+2 and 3+3+2; longest first makes
    # 4+3, 3+2+2, 2. Columns with gaps give those six runs.
    grid = "gaps = [" + ", ".join(
        f"{{ column = {c}, row = {n}, rows = {4 - n} }}"
        for c, n in enumerate((4, 3, 3, 2, 2, 2))
        if n < 4
    )
    cuts = cut_list(wall('along = "columns"', 6, 4, grid + "]"), 8)
    assert sorted(p.leds for p in cuts.pieces) == [2, 2, 2, 3, 3, 4]
    assert (len(cuts.reels), cuts.fewest) == (3, 2)
    text = printed(wall('along = "columns"\nreel_leds = 8', 6, 4, grid + "]"), 100)
    assert "3 reels (packed longest first; 2 might do)" in text


def test_length_follows_the_pitch_along_the_run() -> None:
    pitches = "pitch_mm = 25\nrow_pitch_mm = 16"
    across, down = wall("", 4, 3, pitches), wall('along = "columns"', 4, 3, pitches)
    assert length_mm(across, across.wiring.runs[0]) == pytest.approx(4 * 25)
    assert length_mm(down, down.wiring.runs[0]) == pytest.approx(3 * 16)
    # A strip of one cell and two hidden LEDs down a column has an LED every 16 mm, too.
    gap = "gaps = [{ column = 1, row = 0, rows = 2 }]"
    one = wall('along = "columns"\nhidden_last = 2', 2, 3, f"{pitches}\n{gap}")
    assert [piece.length_mm for piece in cut_list(one).pieces] == pytest.approx([3 * 16, 3 * 16])
    rails = [wire.length_m for wire in build_network(one).wires if wire.kind == "rail"]
    assert rails == pytest.approx([2 * 0.016, 2 * 0.016])


def test_reel_of_no_leds_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        cut_list(wall("", 3, 3), 0)


@st.composite
def walls(draw: st.DrawFn) -> Display:
    columns, rows = draw(st.integers(1, 12)), draw(st.integers(1, 12))
    along = draw(st.sampled_from(["rows", "columns"]))
    start = draw(st.sampled_from(["top-left", "top-right", "bottom-left", "bottom-right"]))
    path = draw(st.sampled_from(["serpentine", "progressive"]))
    lines = draw(st.integers(1, min(3, rows if along == "rows" else columns)))
    gap = ""
    if columns > 2 and rows > 2 and draw(st.booleans()):
        c, r = draw(st.integers(0, columns - 2)), draw(st.integers(0, rows - 2))
        gap = f"gaps = [{{ column = {c}, row = {r}, columns = 2, rows = 2 }}]"
    words = f'along = "{along}"\nstart = "{start}"\npath = "{path}"\nlines = {lines}'
    return wall(words, columns, rows, gap)


@given(walls(), st.integers(1, 30))
def test_every_led_is_cut_once_and_no_reel_overflows(display: Display, reel_leds: int) -> None:
    cuts = cut_list(display, reel_leds)
    runs = display.wiring.runs
    cut = sorted(
        (runs[p.run].line, led) for reel in cuts.reels for p in reel.pieces
        for led in range(p.first, p.last + 1)
    )  # fmt: skip
    assert cut == [
        (n, led) for n, leds in enumerate(display.wiring.line_lengths) for led in range(leds)
    ]
    for reel in cuts.reels:
        assert sum(p.leds for p in reel.pieces) + reel.left_over == reel_leds
        assert reel.left_over >= 0
    assert cuts.fewest <= len(cuts.reels)
    if len(cuts.pieces) <= 7:
        best = best_packing([p.leds for p in cuts.pieces], reel_leds)
        assert cuts.fewest <= best
        # First-fit decreasing needs at most 11/9 of the best plus 6/9 of a reel: Dósa,
        # "The tight bound of first fit decreasing bin-packing algorithm", 2007 (from memory).
        assert 9 * len(cuts.reels) <= 11 * best + 6


def best_packing(sizes: list[int], reel_leds: int) -> int:
    """Fewest reels, found by trying every placing; for a handful of pieces."""
    best = len(sizes)

    def place(rest: list[int], reels: tuple[int, ...]) -> None:
        nonlocal best
        if len(reels) >= best and rest:
            return
        if not rest:
            best = min(best, len(reels))
            return
        for i in range(len(reels)):
            if reels[i] + rest[0] <= reel_leds:
                place(rest[1:], (*reels[:i], reels[i] + rest[0], *reels[i + 1 :]))
        place(rest[1:], (*reels, rest[0]))

    place(sizes, ())
    return best


# ---- the printed map -------------------------------------------------------------------------


def test_grid_shows_the_number_of_every_led_and_dots_for_gaps() -> None:
    text = printed(wall("", 3, 3, "gaps = [{ column = 1, row = 1 }]"), 80)
    # By hand: 0 1 2 / then right to left 3, gap, 4 / then left to right 5 6 7.
    shown = grid_numbers(text)
    assert [[shown[c, r] for c in range(3)] for r in range(3)] == [
        ["0", "1", "2"], ["4", "··", "3"], ["5", "6", "7"]
    ]  # fmt: skip


@given(walls(), st.integers(40, 120))
def test_grid_folded_to_any_width_agrees_with_the_wiring(display: Display, width: int) -> None:
    text = printed(display, width)
    assert max(map(len, text.splitlines())) <= width
    shown = grid_numbers(text)
    gaps = {(c, r) for r, c in np.argwhere(display.gap).tolist()}
    assert {cell for cell, number in shown.items() if number == "··"} == gaps
    wiring = display.wiring
    for c, r, led in zip(wiring.column.tolist(), wiring.row.tolist(), wiring.led, strict=True):
        assert shown[c, r].split(":")[-1] == str(led)
    assert len(shown) == display.grid.columns * display.grid.rows


def test_wide_wall_fits_144_places_and_a_narrow_console_folds_it() -> None:
    display = wall("lines = 2", 36, 20)
    assert "columns 0 to" not in printed(display, 17 + 144)
    narrow = printed(display, 80)
    assert "columns 0 to 11 of 0 to 35" in narrow
    assert "columns 24 to 35 of 0 to 35" in narrow


def test_line_is_told_without_colour_beside_rows_above_columns_or_before_numbers() -> None:
    beside = printed(wall("lines = 2", 2, 2), 80)
    assert re.search(r"^row 1 +line 1 ", beside, re.M)
    above = printed(wall('lines = 2\nalong = "columns"', 2, 2), 80)
    assert re.search(r"^line +0 +1$", above, re.M)
    text = (
        '[grid]\ncolumns = 2\nrows = 2\n[chip]\npart = "SK6812"\n'
        "[[line]]\n[[line.run]]\nfrom = [0, 0]\nto = [1, 0]\n"
        "[[line.run]]\nfrom = [1, 1]\nto = [1, 1]\n"
        "[[line]]\n[[line.run]]\nfrom = [0, 1]\nto = [0, 1]\n"
    )
    mixed = printed(parse_display(text, Path("mixed.toml")), 80)
    assert grid_numbers(mixed) == {(0, 0): "0:0", (1, 0): "0:1", (0, 1): "1:0", (1, 1): "0:2"}


def test_arrow_stands_at_the_first_led_of_each_run() -> None:
    text = printed(wall('start = "bottom-right"', 3, 2), 80)
    rows = {line[4]: line for line in text.splitlines() if line.startswith("row ")}
    # By hand: the data enters bottom right and runs left, then back to the right above it.
    assert rows["1"].rstrip().endswith("← 0")
    assert "→ 3" in rows["0"]
    columns = wall('along = "columns"', 2, 3).wiring.runs
    assert [direction(run) for run in columns] == ["↓", "↑"]
    assert direction(wall("", 1, 1).wiring.runs[0]) == "·"


def test_runs_table_lists_ends_count_and_length() -> None:
    text = printed(wall("", 36, 20), 80)
    # By hand: run 1 of a serpentine wall comes back along row 1; 36 × 33.3 mm is 1200 mm.
    assert re.search(r"^ +1 +0 +36–71 +36 +\(35, 1\) +← +\(0, 1\) +1200 *$", text, re.M)


def test_cut_list_groups_equal_pieces_and_names_joined_runs() -> None:
    assert "20 × 36 LEDs, 1200 mm" in printed(wall("", 36, 20), 80)
    assert "join run 0–1 from pieces of 150 + 50" in printed(wall("", 200, 2), 120)


def test_names_with_brackets_are_printed_as_they_are() -> None:
    text = (
        'about = "[red]not markup[/red]"\n[grid]\ncolumns = 1\nrows = 1\n[chip]\npart = "SK6812"\n'
        '[[line]]\nname = "[bold]"\n[[line.run]]\nfrom = [0, 0]\nto = [0, 0]\n'
    )
    shown = printed(parse_display(text, Path("wall.toml")), 80)
    assert "[red]not markup[/red]" in shown
    assert "line 0, [bold]" in shown
