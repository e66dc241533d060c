"""Wrong maps of walls that have hidden LEDs: the usual mistakes keep their one statement."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from emulator.description.wiring import Wiring, shorthand
from harness.explain import explain
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT

ROWS, COLUMNS = 9, 11
WALLS = [
    (hidden, lines, dark)
    for hidden, lines, dark in product(
        [(1, 0, 0), (0, 2, 0), (1, 1, 2), (0, 0, 0)], [1, 3], [False, True]
    )
    if any(hidden) or dark
]


def wall(hidden: tuple[int, int, int], lines: int, dark: bool, **words: str) -> Wiring:
    gap = np.zeros((ROWS, COLUMNS), dtype=bool)
    gap[0, 9:] = dark  # a corner behind the frame, through which the strip goes on
    return shorthand(gap, lines=lines, dark_leds=gap, hidden=hidden, **words)


def shown(wiring: Wiring, cells: np.ndarray) -> np.ndarray:
    """What LEDs show if those with a cell show these (M,): the gap's cells as READS_GAP."""
    found = np.full(len(wiring), NEVER_LIT)
    found[wiring.placed] = cells
    return found


def mirrored(wiring: Wiring) -> np.ndarray:
    row, column = np.divmod(wiring.cell[wiring.placed], COLUMNS)
    return shown(wiring, row * COLUMNS + COLUMNS - 1 - column)


def upside_down(wiring: Wiring) -> np.ndarray:
    row, column = np.divmod(wiring.cell[wiring.placed], COLUMNS)
    return shown(wiring, (ROWS - 1 - row) * COLUMNS + column)


def exchanged_rows(wiring: Wiring) -> np.ndarray:
    row, column = np.divmod(wiring.cell[wiring.placed], COLUMNS)
    return shown(wiring, np.select([row == 3, row == 5], [5, 3], row) * COLUMNS + column)


def reversed_row(wiring: Wiring) -> np.ndarray:
    row, column = np.divmod(wiring.cell[wiring.placed], COLUMNS)
    return shown(wiring, row * COLUMNS + np.where(row == 4, COLUMNS - 1 - column, column))


def early(wiring: Wiring) -> np.ndarray:
    cells, last = wiring.cell.copy(), wiring.line_lengths[0]
    cells[:last] = np.append(wiring.cell[1:last], NEVER_LIT)
    return cells


MISTAKES = {
    mirrored: "mirrored left-right",
    upside_down: "upside down: top and bottom are exchanged",
    exchanged_rows: "rows 3 and 5 exchanged",
    reversed_row: "row 4 runs backwards",
    early: "one LED early",
}


@pytest.mark.parametrize(("hidden", "lines", "dark"), WALLS)
@pytest.mark.parametrize("mistake", MISTAKES)
def test_the_usual_mistakes_have_one_statement(mistake, hidden, lines, dark):
    wiring = wall(hidden, lines, dark)
    explanation = explain(wiring, mistake(wiring))
    (finding,) = explanation.findings()
    wanted = MISTAKES[mistake]
    if mistake is early and wiring.hidden[: wiring.line_lengths[0]].sum() == wiring.hidden[0]:
        wanted = "shows what is meant for the next" if hidden[0] else wanted
    assert wanted in finding.what


@pytest.mark.parametrize("hidden", [(1, 0, 0), (1, 1, 2)])
def test_a_serpentine_taken_for_progressive(hidden):
    wiring = wall(hidden, 1, False)
    cells = wall((0, 0, 0), 1, False, path="progressive").cell
    (finding,) = explain(wiring, shown(wiring, cells)).findings()
    assert finding.what == (
        "rows 1, 3, 5 and 7 run backwards: the map is progressive, the wiring serpentine"
    )


@pytest.mark.parametrize("lines", [1, 3])
def test_lit_hidden_leds_are_named_beside_another_mistake(lines):
    wiring = wall((1, 0, 2), lines, True)
    seen = mirrored(wiring)
    seen[wiring.hidden] = ALWAYS_LIT
    first, second = explain(wiring, seen).findings()
    assert first.what == "mirrored left-right"
    assert "LEDs 0, 10, 11" in second.what
    assert second.what.endswith("have no cell and must stay dark, but are lit")


def test_the_lines_of_a_wall_with_hidden_leds_exchanged():
    wiring = wall((1, 0, 0), 3, False)
    cells = wiring.cell.reshape(3, -1)[[1, 0, 2]].reshape(-1)
    (finding,) = explain(wiring, cells).findings()
    assert finding.what == "line 0 drives line 1's cells and line 1 drives line 0's cells"


def test_all_right_is_right_and_says_nothing_of_the_hidden_leds():
    for row in WALLS:
        wiring = wall(*row)
        explanation = explain(wiring, wiring.cell)
        assert explanation.right
        assert explanation.findings() == []
