"""The faults against tables worked by hand on a 4 × 3 wall.

The wall (columns × rows) is wired serpentine from the top left in one line, so LEDs 0 … 11 sit in
cells 0 1 2 3 / 7 6 5 4 / 8 9 10 11, cells being numbered row by row.
"""

from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from emulator.description.wiring import shorthand
from harness.explain.grids import OtherGrid
from harness.explain.wall import Words
from harness.mistakes import (
    FAULTS,
    ChannelsPermuted,
    ColumnsExchanged,
    CountedByOtherWidth,
    Dead,
    Double,
    DrawnForOtherWidth,
    GapCounted,
    Late,
    LineFromElsewhere,
    LinesExchanged,
    LineShuffled,
    Mirrored,
    OtherHeight,
    OtherWidth,
    RangeReversed,
    RowsExchanged,
    RowShuffled,
    RunReversed,
    RunShuffled,
    Stuck,
    Transposed,
    Turned,
    UpsideDown,
    WrongAlong,
    WrongCorner,
    WrongPath,
    as_seen,
)
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP

N, A = NEVER_LIT, ALWAYS_LIT


def wall(lines=1):
    return shorthand(np.zeros((3, 4), dtype=bool), lines=lines)


def words(start="top-left", along="rows", path="serpentine"):
    return Words(start, along, path, 1)


BY_HAND = [
    (WrongPath(words(path="progressive")), [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
    (WrongCorner(words(start="bottom-right")), [11, 10, 9, 8, 4, 5, 6, 7, 3, 2, 1, 0]),
    (WrongAlong(words(along="columns")), [0, 4, 8, 9, 5, 1, 2, 6, 10, 11, 7, 3]),
    # Made for rows of 5, the fifth of which is not there: LEDs 0 … 11 are asked for 0 1 2 3 - /
    # - 7 6 5 4 / 8 9; the data ends there or not, the wall does.
    (OtherWidth(OtherGrid(5, 3, "asked", "dark")), [0, 1, 2, 3, N, N, 7, 6, 5, 4, 8, 9]),
    # Made for two rows, LEDs 8 to 11 are asked for nothing.
    (OtherHeight(OtherGrid(4, 2, "asked", "dark")), [0, 1, 2, 3, 7, 6, 5, 4, N, N, N, N]),
    # Written to y · 3 + x, or y · 3 + 2 - x in row 1: cell 4 to 5, 5 to 4, 6 to 3, 7 to 2, 8 to 6
    # and so on; what row 0 had written to 2 and 3 is gone.
    (DrawnForOtherWidth(OtherGrid(3, 3, "drawn", "dark")), [0, 1, 7, 6, 5, 4, 8, 9, 10, 11, N, N]),
    # Numbered row · 5 + column: 0 1 2 3 / 5 6 7 8 / 10 11 and beyond; LED 4 sits in column 3.
    (
        CountedByOtherWidth(OtherGrid(5, 3, "flat", "dark")),
        [0, 1, 2, 3, 8, 7, 6, 5, 10, 11, N, N],
    ),
    (LineFromElsewhere(0, words(start="bottom-left")), [8, 9, 10, 11, 7, 6, 5, 4, 0, 1, 2, 3]),
    (RunShuffled((4, 5, 6, 7), (6, 4, 7, 5)), [0, 1, 2, 3, 5, 7, 4, 6, 8, 9, 10, 11]),
    (RowShuffled((4, 5, 6, 7), (6, 4, 7, 5)), [0, 1, 2, 3, 5, 7, 4, 6, 8, 9, 10, 11]),
    (LineShuffled((0, 11, 5), (11, 5, 0)), [11, 1, 2, 3, 7, 0, 5, 4, 8, 9, 10, 6]),
    (Mirrored(), [3, 2, 1, 0, 4, 5, 6, 7, 11, 10, 9, 8]),
    (UpsideDown(), [8, 9, 10, 11, 7, 6, 5, 4, 0, 1, 2, 3]),
    (Turned(), [11, 10, 9, 8, 4, 5, 6, 7, 3, 2, 1, 0]),
    # Cell (column, row) is numbered column · 3 + row: 0 3 6 9 / 1 4 7 10 / 2 5 8 11.
    (Transposed(), [0, 3, 6, 9, 10, 7, 4, 1, 2, 5, 8, 11]),
    (RowsExchanged(0, 2), [8, 9, 10, 11, 7, 6, 5, 4, 0, 1, 2, 3]),
    (ColumnsExchanged(1, 2), [0, 2, 1, 3, 7, 5, 6, 4, 8, 10, 9, 11]),
    (RunReversed(1), [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
    (RangeReversed(0, 2, 6), [0, 1, 5, 6, 7, 3, 2, 4, 8, 9, 10, 11]),
    (Late(0, 5, 1), [0, 1, 2, 3, 7, N, 6, 5, 4, 8, 9, 10]),
    (Late(0, 5, -1), [0, 1, 2, 3, 7, 5, 4, 8, 9, 10, 11, N]),
    (Late(0, 10, 5), [0, 1, 2, 3, 7, 6, 5, 4, 8, 9, N, N]),
    (Double(4), [0, 1, 2, 3, 3, 6, 5, 4, 8, 9, 10, 11]),
    (Dead(2), [0, 1, N, 3, 7, 6, 5, 4, 8, 9, 10, 11]),
    (Stuck(2), [0, 1, A, 3, 7, 6, 5, 4, 8, 9, 10, 11]),
]


@pytest.mark.parametrize(("fault", "shown"), BY_HAND, ids=lambda v: type(v).__name__)
def test_fault_by_hand(fault, shown):
    w = wall()
    assert fault.apply(w.cell, w).tolist() == shown


def test_exchanged_lines_of_unequal_length_leave_the_rest_dark():
    # Two lines share three rows: line 0 has rows 0 and 1 (8 LEDs), line 1 has row 2 (4 LEDs).
    w = wall(lines=2)
    shown = LinesExchanged(0, 1).apply(w.cell, w)
    assert shown.tolist() == [8, 9, 10, 11, N, N, N, N, 0, 1, 2, 3]


def test_a_map_that_counts_the_gap_shifts_all_after_it():
    gap = np.zeros((3, 4), dtype=bool)
    gap[1, 1] = True
    w = shorthand(gap)
    assert w.cell.tolist() == [0, 1, 2, 3, 7, 6, 4, 8, 9, 10, 11]
    shown = GapCounted(Words("top-left", "rows", "serpentine", 1, False)).apply(w.cell, w)
    assert shown.tolist() == [0, 1, 2, 3, 7, 6, 5, 4, 8, 9, 10]
    assert as_seen(shown, w).tolist() == [0, 1, 2, 3, 7, 6, READS_GAP, 4, 8, 9, 10]


def test_every_fault_has_a_table_by_hand():
    assert {type(fault) for fault, _ in BY_HAND} | {LinesExchanged, GapCounted} == set(
        FAULTS.values()
    )


def test_faults_keep_marks_and_do_not_change_their_input():
    w = wall(lines=2)
    marked = w.cell.copy()
    marked[[0, 9]] = NEVER_LIT, ALWAYS_LIT
    before = marked.copy()
    for name, kind in FAULTS.items():
        fault = kind.example(w, np.random.default_rng(4))
        if fault is None:
            continue
        shown = fault.apply(marked, w)
        assert np.array_equal(marked, before), name
        assert ((shown >= -4) & (shown < 12)).all(), name


@pytest.mark.parametrize("name", FAULTS)
def test_example_changes_what_is_shown_and_is_repeatable(name):
    gap = np.zeros((8, 9), dtype=bool)
    gap[2, 3] = name != "drawn for other width"  # a formula cannot leave out a gap
    w = shorthand(gap, lines=2)
    kind = FAULTS[name]
    fault = kind.example(w, np.random.default_rng(1))
    assert fault == kind.example(w, np.random.default_rng(1))
    assert not np.array_equal(fault.apply(w.cell, w), w.cell)
    assert kind.what


def test_examples_of_all_kinds_fit_a_wall_with_hidden_leds():
    text = '[grid]\ncolumns = 6\nrows = 5\n[chip]\npart = "WS2812B"\n'
    text += '[wiring]\nlines = 2\nalong = "columns"\nhidden_first = 2\nhidden_between = 1\n'
    w = parse_display(text, Path("hidden.toml")).wiring
    for kind in FAULTS.values():
        fault = kind.example(w, np.random.default_rng(1))
        assert fault is None or fault.apply(w.cell, w).shape == w.cell.shape


def test_a_line_from_elsewhere_passes_its_hidden_leds():
    text = '[grid]\ncolumns = 4\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\nhidden_first = 2\n'
    w = parse_display(text, Path("hidden.toml")).wiring
    seen = LineFromElsewhere(0, words(start="bottom-left")).apply(w.cell, w)
    assert seen[w.placed].tolist() == [8, 9, 10, 11, 7, 6, 5, 4, 0, 1, 2, 3]
    assert seen[w.hidden].tolist() == w.cell[w.hidden].tolist()


def test_a_wall_of_one_led_admits_only_faults_of_the_led():
    w = shorthand(np.zeros((1, 1), dtype=bool))
    rng = np.random.default_rng(0)
    admitted = {name for name, kind in FAULTS.items() if kind.example(w, rng)}
    assert admitted == {"dead LED", "stuck LED"}


def test_gap_cells_are_seen_as_gap():
    gap = np.zeros((1, 4), dtype=bool)
    gap[0, 3] = True
    w = shorthand(gap)
    assert as_seen(Mirrored().apply(w.cell, w), w).tolist() == [READS_GAP, 2, 1]
    assert as_seen(np.array([N, A, 0]), w).tolist() == [N, A, 0]


def test_channels_permuted():
    # A strip that takes GRB but is sent RGB gives red light for green data.
    light = np.array([[0.1, 0.2, 0.3], [1.0, 0.0, 0.0]])
    assert ChannelsPermuted((1, 0, 2)).apply(light).tolist() == [[0.2, 0.1, 0.3], [0, 1, 0]]
    assert ChannelsPermuted.example(np.random.default_rng(0)).order != (0, 1, 2)
