"""The explanation engine: walls worked out by hand, every fault alone and in pairs, random maps."""

import json
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emulator.description.wiring import Wiring, shorthand
from emulator.errors import PictureError
from harness.explain import explain
from harness.mistakes import (
    FAULTS,
    LinesExchanged,
    RowsExchanged,
    WrongMap,
    as_seen,
)
from harness.patterns.coded import (
    ALWAYS_LIT,
    NEVER_LIT,
    READS_GAP,
    UNCLEAR,
    coded_masks,
    read_codes,
)
from tests.tables import telling

N, A, G = NEVER_LIT, ALWAYS_LIT, READS_GAP


def plain(columns, rows, **words):
    return shorthand(np.zeros((rows, columns), dtype=bool), **words)


def foyer():
    gap = np.zeros((20, 36), dtype=bool)
    gap[9:11, 17:19] = True
    return shorthand(gap, lines=2)


def irregular():
    """10 × 6: line 0 snakes down and up columns 0-3, line 1 takes the rest row by row, unsorted."""
    cells = [(0, c, r) for c in range(4) for r in (range(6) if c % 2 == 0 else range(5, -1, -1))]
    for row in (2, 1, 0, 5, 4, 3):
        cells += [(1, c, row) for c in (range(9, 3, -1) if row % 2 else range(4, 10))]
    line, column, row = zip(*cells, strict=True)
    return Wiring.from_cells(10, 6, line, column, row)


def lopsided():
    """11 × 7, three lines of unequal length, gaps off the centre, from the bottom right."""
    gap = np.zeros((7, 11), dtype=bool)
    gap[1:3, 2] = True
    gap[6, 9:] = True
    return shorthand(gap, start="bottom-right", lines=3)


WALLS = {
    "foyer": foyer(),
    "banner": plain(8, 48, along="columns"),
    "square": plain(24, 24),
    "strip": plain(30, 1),
    "irregular": irregular(),
    "lopsided": lopsided(),
}


def verified(wiring, source):
    """The explanation, if its operations give what was seen and everything is reported."""
    explanation = explain(wiring, source)
    shown = wiring.cell
    for operation in explanation.operations:
        shown = operation.apply(shown, explanation.wall)
    differ = np.flatnonzero(as_seen(shown, wiring) != as_seen(np.asarray(source), wiring))
    assert explanation.remaining.tolist() == differ.tolist()
    assert explanation.right == np.array_equal(wiring.cell, source)
    json.dumps(explanation.to_json())
    assert bool(explanation.findings()) != explanation.right
    return explanation


def told(wiring, source):
    return [finding.what for finding in verified(wiring, source).findings()]


# Worked by hand: 4 columns × 3 rows, one line, serpentine from the top left, so that LEDs 0 … 11
# sit in cells 0 1 2 3 / 7 6 5 4 / 8 9 10 11 (cells numbered row by row).
TRUE = [0, 1, 2, 3, 7, 6, 5, 4, 8, 9, 10, 11]
BY_HAND = {
    "right": (TRUE, []),
    "progressive": (
        list(range(12)),
        ["row 1 runs backwards: the map is progressive, the wiring serpentine"],
    ),
    "mirrored": ([3, 2, 1, 0, 4, 5, 6, 7, 11, 10, 9, 8], ["mirrored left-right"]),
    "upside down": (
        [8, 9, 10, 11, 7, 6, 5, 4, 0, 1, 2, 3],
        ["upside down: top and bottom are exchanged"],
    ),
    "one late from 5": (
        [0, 1, 2, 3, 7, 7, 6, 5, 4, 8, 9, 10],
        ["everything from LED 5 on is one LED late"],
    ),
    "one early from 5, none left at the end": (
        [0, 1, 2, 3, 7, 5, 4, 8, 9, 10, 11, N],
        ["everything from LED 5 on is one LED early"],
    ),
    "two late from 4, dark": (
        [0, 1, 2, 3, N, N, 7, 6, 5, 4, 8, 9],
        ["everything from LED 4 on is 2 LEDs late (LEDs 4 and 5 dark)"],
    ),
    "all one late, round": ([11, *TRUE[:-1]], ["everything is one LED late, wrapped round"]),
    "rows 0 and 1 exchanged": (
        [4, 5, 6, 7, 3, 2, 1, 0, 8, 9, 10, 11],
        ["rows 0 and 1 exchanged"],
    ),
    "columns 0 and 1 exchanged": (
        [1, 0, 2, 3, 7, 6, 4, 5, 9, 8, 10, 11],
        ["columns 0 and 1 exchanged"],
    ),
    "picture one column too far right": (
        [3, 0, 1, 2, 6, 5, 4, 7, 11, 8, 9, 10],
        ["the picture sits 1 column too far right, wrapped round"],
    ),
    "along columns": (
        [0, 4, 8, 9, 5, 1, 2, 6, 10, 11, 7, 3],
        ["the map runs along columns, the wiring along rows"],
    ),
    "rows treated as columns": (
        [0, 3, 6, 9, 10, 7, 4, 1, 2, 5, 8, 11],
        ["the map treats rows as columns: it numbers cells column · rows + row"],
    ),
    "two LEDs on one cell": ([*TRUE[:9], 8, 10, 11], ["LEDs 8 and 9 show the same cell"]),
    "two LEDs exchanged": ([0, 1, 10, *TRUE[3:10], 2, 11], ["LEDs 2 and 10 are exchanged"]),
    "dead, stuck and unclear": (
        [N, 1, N, 3, 7, A, 5, 4, 8, UNCLEAR, 10, 11],
        [
            "LEDs 0 and 2 are never lit",
            "LED 5 is always lit",
            "LED 9 shows nothing that is one cell's code",
        ],
    ),
}


@pytest.mark.parametrize("case", BY_HAND)
def test_small_wall_by_hand(case):
    source, sentences = BY_HAND[case]
    assert told(plain(4, 3), np.array(source)) == sentences


def test_square_turned_by_hand():
    # Turned clockwise, the bottom-left of a 3 × 3 picture comes out at the top left:
    # 6 3 0 / 7 4 1 / 8 5 2 on the wall; the serpentine meets them as 6 3 0, 1 4 7, 8 5 2.
    right = np.array([6, 3, 0, 1, 4, 7, 8, 5, 2])
    assert told(plain(3, 3), right) == ["turned by 90° to the right (clockwise)"]
    # The other way the top-right comes there: 2 5 8 / 1 4 7 / 0 3 6.
    left = np.array([2, 5, 8, 7, 4, 1, 0, 3, 6])
    assert told(plain(3, 3), left) == ["turned by 90° to the left (counter-clockwise)"]


@pytest.mark.parametrize("gap_named", [G, 3])
def test_mirrored_wall_with_a_gap_reads_the_gap(gap_named):
    # 4 × 1 with a gap in column 3: LEDs sit in 0 1 2; mirrored they look up 3 2 1.
    gap = np.array([[False, False, False, True]])
    assert told(shorthand(gap), np.array([gap_named, 2, 1])) == ["mirrored left-right"]


# These sentences, word for word.
def test_issue_progressive_map_on_the_foyer():
    w = foyer()
    gap = w.led_at < 0
    findings = verified(w, shorthand(gap, path="progressive", lines=2).cell).findings()
    assert [f.what for f in findings] == [
        "rows 1, 3, 5 … 19 run backwards: the map is progressive, the wiring serpentine"
    ]
    assert findings[0].check == "map"
    assert findings[0].severity == "fault"
    assert "LED 36 was meant for column 35, row 1 and shows column 0, row 1" in findings[0].evidence
    assert "reverse every second row" in findings[0].remedy


def test_issue_one_late_from_led_240():
    w = plain(24, 24)
    shown = np.concatenate((w.cell[:240], w.cell[239:-1]))
    assert told(w, shown) == ["everything from LED 240 on is one LED late"]


def test_issue_rows_6_and_7_exchanged():
    w = plain(24, 24)
    shown = np.where(w.row == 6, w.cell + 24, np.where(w.row == 7, w.cell - 24, w.cell))
    assert told(w, shown) == ["rows 6 and 7 exchanged"]


def test_issue_mirrored():
    w = plain(36, 20)
    assert told(w, w.row * 36 + 35 - w.column) == ["mirrored left-right"]


def test_issue_line_2_drives_line_3():
    w = plain(10, 8, lines=4)
    shown = w.cell.copy()
    shown[w.line == 2] = w.cell[w.line == 3]
    assert told(w, shown) == ["line 2 drives line 3's cells"]
    shown[w.line == 3] = w.cell[w.line == 2]
    assert told(w, shown) == ["line 2 drives line 3's cells and line 3 drives line 2's cells"]


def test_issue_single_leds():
    w = plain(24, 24)
    shown = w.cell.copy()
    shown[17] = NEVER_LIT
    shown[41] = shown[40]
    assert told(w, shown) == ["LED 17 is never lit", "LEDs 40 and 41 show the same cell"]


def test_from_the_pictures_to_the_sentence():
    w = foyer()
    gap = w.led_at < 0
    masks = coded_masks(gap)
    believed = w.row * 36 + 35 - w.column
    believed[100:] = np.roll(believed[100:], 1)
    light = masks.reshape(len(masks), -1)[:, believed] * 0.4
    light[:, 300] = 0
    assert told(w, read_codes(light, gap)) == [
        "mirrored left-right",
        "counted through all lines, everything from line 0, LED 100 on is one LED late, wrapped"
        " round",
        "line 0, LED 300 is never lit",
    ]


def test_led_is_named_with_its_line_when_there_are_several():
    w = foyer()
    shown = w.cell.copy()
    shown[358 + 17] = NEVER_LIT
    assert told(w, shown) == ["line 1, LED 17 is never lit"]


def test_wrong_cell_without_a_pattern_is_told_cell_by_cell():
    w = plain(4, 3)
    shown = w.cell.copy()
    shown[[0, 5, 10]] = shown[[5, 10, 0]]  # a ring of three
    assert told(w, shown) == [
        "LED 0 shows column 2, row 1 instead of column 0, row 0",
        "LED 5 shows column 2, row 2 instead of column 2, row 1",
        "LED 10 shows column 0, row 0 instead of column 2, row 2",
    ]


ONE_LINE = {"lines exchanged", "line from elsewhere", "line shuffled"}
# Faults that a wall has no room for. A map of another size takes a wiring in a few words; on a wall
# of one row or a wall with a gap fewer maps are wrong.
TOO_SIMPLE = {
    "foyer": {"drawn for other width"},
    "banner": {"gap counted", "drawn for other width", *ONE_LINE},
    "square": {"gap counted", *ONE_LINE},
    "strip": {
        *("gap counted", "wrong path", "wrong corner", "wrong along", "upside down", "transposed"),
        *("rows exchanged", "other height", "drawn for other width", *ONE_LINE),
        "counted by other width",
    },
    "irregular": {
        *("gap counted", "run shuffled", "other width", "other height"),
        *("drawn for other width", "counted by other width"),
    },
    "lopsided": {"drawn for other width"},
}

CASES = [(wall, fault) for wall in WALLS for fault in FAULTS]


# The lopsided wall admits all faults but one.
@pytest.mark.parametrize(("wall", "fault"), telling(CASES, lambda case: case[0] == "lopsided"))
def test_every_fault_alone_takes_one_statement(wall, fault):
    w = WALLS[wall]
    rng = np.random.default_rng([5, CASES.index((wall, fault))])
    example = FAULTS[fault].example(w, rng)
    if example is None:  # only a wall that is too simple for a fault may refuse it
        assert fault in TOO_SIMPLE[wall], fault
        return
    explanation = verified(w, as_seen(example.apply(w.cell, w), w))
    assert len(explanation.operations) == 1, explanation.operations
    assert explanation.remaining.size == 0


def one_map_one_picture(names):
    """No bench has two wrong maps or two symmetries at once: the two act as one."""
    maps = [name for name in names if FAULTS[name].__module__ == WrongMap.__module__]
    pictures = set(names) & {"mirrored", "upside down", "turned", "transposed"}
    return len(maps) < 2 and len(pictures) < 2


@pytest.mark.slow
def test_pairs_of_faults_take_few_statements():
    rng = np.random.default_rng(23)
    pairs = [p for p in combinations(FAULTS, 2) if one_map_one_picture(p)]
    lengths = []
    for wall, w in WALLS.items():
        for number in rng.choice(len(pairs), 8, replace=False):
            shown = w.cell
            for name in pairs[number]:
                fault = FAULTS[name].example(w, rng)
                shown = shown if fault is None else fault.apply(shown, w)
            explanation = verified(w, as_seen(shown, w))
            length = len(explanation.operations) + explanation.remaining.size
            assert length <= 4, (wall, pairs[number], explanation.operations)
            lengths.append(length)
    assert np.mean(np.array(lengths) <= 2) > 0.95


@given(st.lists(st.sampled_from(list(FAULTS)), max_size=4), st.integers(0, 2**32), st.booleans())
@settings(max_examples=6, deadline=None)
def test_any_composition_is_reproduced_but_for_what_remains(names, seed, lopsided_wall):
    w = WALLS["lopsided" if lopsided_wall else "irregular"]
    rng, shown = np.random.default_rng(seed), w.cell
    for name in names:
        fault = FAULTS[name].example(w, rng)
        shown = shown if fault is None else fault.apply(shown, w)
    verified(w, as_seen(shown, w))


@given(st.data(), st.integers(1, 5), st.integers(1, 6))
@settings(max_examples=20, deadline=None)
def test_any_source_is_reproduced_but_for_what_remains(data, columns, rows):
    w = plain(columns, rows)
    cells = st.integers(UNCLEAR, columns * rows - 1)
    source = data.draw(st.lists(cells, min_size=len(w), max_size=len(w)))
    verified(w, np.array(source))


def test_a_random_permutation_is_listed_in_full():
    w = plain(40, 25)
    shown = np.random.default_rng(2).permutation(1000)
    wrong = np.flatnonzero(shown != w.cell)
    explanation = verified(w, shown)
    (finding,) = explanation.findings()
    assert finding.what == f"no pattern found; {len(wrong)} LEDs differ"
    assert finding.evidence.count(" was meant for ") == len(wrong)
    assert len(explanation.to_json()["remaining"]) == len(wrong)


def test_a_chance_exchange_among_garbage_is_not_told():
    w = plain(40, 25)
    shown = np.roll(np.random.default_rng(2).permutation(1000), 1)
    at = np.flatnonzero((shown == w.cell[3]) | (shown == w.cell[700]))
    shown[at] = shown[[3, 700]]
    shown[[3, 700]] = w.cell[[700, 3]]
    (what,) = told(w, shown)
    assert what.startswith("no pattern found")


def test_rows_exchanged_and_both_backwards():
    w = plain(24, 24, path="progressive")
    there = np.where(w.row == 6, 8, 6) * 24 + 23 - w.column
    shown = np.where((w.row == 6) | (w.row == 8), there, w.cell)
    assert told(w, shown) == ["rows 6 and 8 exchanged", "rows 6 and 8 run backwards"]


@pytest.mark.parametrize("path", ["progressive", "serpentine"])
@pytest.mark.parametrize(
    ("first", "last"),
    [
        (59, 148),
        (59, 147),  # its middle LED, 103, is right
        (140, 195),  # two whole runs and a bit
        (0, 100),
        (500, 575),
        (20, 27),
        (22, 25),
    ],
)
def test_a_piece_of_strip_the_wrong_way_round(path, first, last):
    w = plain(24, 24, path=path)
    shown = w.cell.copy()
    shown[first : last + 1] = shown[first : last + 1][::-1]
    assert told(w, shown) == [f"LEDs {first} to {last} run backwards"]


def test_a_piece_of_strip_the_wrong_way_round_on_one_of_two_lines_with_a_dead_led():
    w = plain(24, 24, lines=2)
    shown = w.cell.copy()
    shown[300:351] = shown[300:351][::-1]
    shown[310] = NEVER_LIT
    assert told(w, shown) == ["line 1, LEDs 12 to 62 run backwards", "line 1, LED 22 is never lit"]


def test_a_run_or_a_line_backwards_is_called_so():
    w = plain(24, 24, lines=2)
    for leds, what in (
        (slice(24, 48), "row 1 runs backwards"),
        (slice(288, 576), "line 1: the map starts at the bottom-left, the wiring at the top-left"),
    ):
        shown = w.cell.copy()
        shown[leds] = shown[leds][::-1]
        assert told(w, shown) == [what]


def test_two_leds_exchanged_are_no_range():
    w = plain(24, 24)
    shown = w.cell.copy()
    shown[[40, 52]] = shown[[52, 40]]
    assert told(w, shown) == ["LEDs 40 and 52 are exchanged"]


def test_row_reversed_over_its_leds_with_a_gap_off_the_centre():
    # 5 × 3 progressive with a gap in column 1 of row 0: its LEDs sit in 0 2 3 4.
    gap = np.zeros((3, 5), dtype=bool)
    gap[0, 1] = True
    w = shorthand(gap, path="progressive")
    shown = np.array([4, 3, 2, 0, *range(5, 15)])
    assert told(w, shown) == ["row 0 runs backwards, counted over its LEDs (a gap skipped)"]


@pytest.mark.parametrize(
    ("by", "what"),
    [
        (1, "the picture sits 1 row too low, and what leaves the wall is lost"),
        (-2, "the picture sits 2 rows too high, and what leaves the wall is lost"),
    ],
)
def test_a_picture_moved_off_the_wall_is_no_mirrored_one(by, what):
    w = shorthand(np.zeros((24, 24), dtype=bool))  # serpentine: a row early is a mirrored row
    row = w.row - by
    shown = np.where((row >= 0) & (row < 24), row * 24 + w.column, NEVER_LIT)
    assert told(w, shown) == [what]


def test_exchanged_lines_are_found_although_a_row_moved_between_them():
    w = WALLS["lopsided"]
    shown = RowsExchanged(0, 3).apply(w.cell, w)
    shown = as_seen(LinesExchanged(0, 2).apply(shown, w), w)
    assert told(w, shown) == [
        "line 0 drives line 2's cells and line 2 drives line 0's cells",
        "rows 0 and 3 exchanged",
    ]


def test_lines_in_a_ring_and_all_late():
    w = plain(9, 10, lines=10)
    giver = np.array([1, 2, 0, *range(3, 10)])
    shown = np.roll(giver[w.line] * 9 + w.column, 1)
    shown[0] = N
    assert told(w, shown) == [
        "line 0 drives line 1's cells, line 1 drives line 2's cells and line 2 drives line 0's "
        "cells",
        "counted through all lines, everything is one LED late (line 0, LED 0 dark)",
    ]


def test_mirrored_map_with_lines_in_a_ring_each_late():
    # Neither alone sets an LED right, so the search has to begin with lines exchanged.
    w = plain(9, 24, lines=12)
    mirrored = (w.row * 9 + 8 - w.column).reshape(12, 18)
    shown = mirrored[[4, 1, 2, 3, 7, 5, 6, 0, 8, 9, 10, 11]]
    shown = np.hstack((np.full((12, 1), N), shown[:, :-1])).reshape(-1)
    assert told(w, shown) == [
        "mirrored left-right",
        "line 0 drives line 4's cells, line 4 drives line 7's cells and line 7 drives line 0's "
        "cells",
        "on lines 0 to 11 each, everything is one LED late (LED 0 dark)",
    ]


def test_an_offset_that_begins_in_an_exchanged_column_is_found_whole():
    # The exchange hides the start of the offset at first; the search has to go back for it.
    w = foyer()
    gap = w.led_at < 0
    shown = shorthand(gap, along="columns", lines=2).cell
    column = shown % 36
    shown = shown - column + np.where(column == 2, 25, np.where(column == 25, 2, column))
    assert not gap[:, [2, 25]].any()
    shown = np.concatenate((shown[:54], [N], shown[54:357], shown[358:]))
    assert told(w, shown) == [
        "the map runs along columns, the wiring along rows",
        "columns 2 and 25 exchanged",
        "on line 0, everything from LED 54 on is one LED late (LED 54 dark)",
    ]


def test_every_second_row_of_pairs_exchanged_is_one_statement():
    w = plain(6, 12)
    (what,) = told(w, (w.row ^ 1) * 6 + w.column)
    assert what == "rows 0 and 1, 2 and 3, 4 and 5, 6 and 7, 8 and 9, 10 and 11 are each exchanged"


def test_an_extra_led_before_each_line_is_one_statement():
    # Common practice, no source: a first LED hidden at the controller to refresh the data.
    w = plain(10, 6, lines=3)
    shown = np.where(w.led == 0, N, np.roll(w.cell, 1))
    assert told(w, shown) == ["on lines 0, 1 and 2 each, everything is one LED late (LED 0 dark)"]


def test_json_keeps_every_led():
    w = foyer()
    shown = w.cell.copy()
    shown[::7] = NEVER_LIT
    explanation = verified(w, shown)
    (operation,) = explanation.to_json()["operations"]
    assert operation["leds"] == [
        [line, led] for line, led in zip(w.line[::7].tolist(), w.led[::7].tolist(), strict=True)
    ]


@pytest.mark.parametrize(
    ("source", "message"),
    [
        (np.zeros(5, dtype=int), "shape"),
        (np.zeros(12), "float64"),
        (np.full(12, 12), "LED 0 is 12"),
        (np.full(12, -5), "LED 0 is -5"),
    ],
)
def test_bad_source_is_named(source, message):
    with pytest.raises(PictureError, match=message) as caught:
        explain(plain(4, 3), source)
    assert "Fix:" in str(caught.value)
