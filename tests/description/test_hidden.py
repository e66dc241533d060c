"""LEDs without a cell: how a display file describes them, and what the wiring makes of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import DisplayFileError, MapFileError, parse_display, shorthand
from emulator.description.cutlist import cut_list, length_mm
from emulator.description.mapfile import read_claim, read_map
from harness.report.build.mapformats import map_c, map_csv, map_json

HERE = Path("wall.toml")
GRID = """
[grid]
columns = 3
rows = 2
{grid}
[chip]
part = "WS2812B"
{wiring}
"""


def display(wiring: str, grid: str = "", path: Path = HERE):
    return parse_display(GRID.format(wiring=wiring, grid=grid), path)


def full(columns: int = 3, rows: int = 2) -> np.ndarray:
    return np.zeros((rows, columns), dtype=bool)


# Worked by hand: a 3 × 2 grid, cells numbered row · 3 + column; -1 has no cell.
@pytest.mark.parametrize(
    ("words", "cells"),
    [
        ("hidden_first = 1", [-1, 0, 1, 2, 5, 4, 3]),
        ("hidden_last = 2", [0, 1, 2, 5, 4, 3, -1, -1]),
        ("hidden_between = 2", [0, 1, 2, -1, -1, 5, 4, 3]),
        ("lines = 2\nhidden_first = 1\nhidden_last = 1", [-1, 0, 1, 2, -1, -1, 3, 4, 5, -1]),
        (
            "lines = 2\nhidden_between = 1\nalong = 'columns'",  # line 0 has two of three columns
            [0, 3, -1, 4, 1, 2, 5],
        ),
    ],
)
def test_the_words_put_hidden_leds_where_they_say(words, cells):
    wiring = display(f"[wiring]\n{words}").wiring
    assert wiring.cell.tolist() == cells
    assert wiring.hidden.tolist() == [cell < 0 for cell in cells]
    assert wiring.led_at.reshape(-1).tolist() == [cells.index(cell) for cell in range(6)]


def test_a_hidden_led_counts_on_its_line_and_belongs_to_the_run_of_its_neighbour():
    wiring = display("[wiring]\nlines = 2\nhidden_first = 1\nhidden_last = 2").wiring
    assert wiring.line_lengths == (6, 6)
    assert wiring.line_starts == (0, 6)
    assert wiring.led.tolist() == [0, 1, 2, 3, 4, 5] * 2
    assert [(run.first, run.last) for run in wiring.runs] == [(0, 5), (0, 5)]
    assert [(run.from_column, run.to_column) for run in wiring.runs] == [(0, 2), (0, 2)]
    assert wiring.hidden_on(1).tolist() == [0, 4, 5]
    assert [wiring.ends_hidden(1, count) for count in (0, 1, 2, 3)] == [False, True, True, False]


def test_leds_between_strips_belong_to_the_strip_before_them():
    wiring = shorthand(full(), hidden=(0, 1, 0))
    assert [(run.first, run.last) for run in wiring.runs] == [(0, 3), (4, 6)]


def test_the_strips_go_on_through_a_gap_with_hidden_leds():
    corner = "gaps = [{ column = 0, row = 0, hidden_leds = true }]"
    wiring = display("[wiring]", corner).wiring
    assert wiring.cell.tolist() == [-1, 1, 2, 5, 4, 3]
    assert (wiring.column[0], wiring.row[0]) == (0, 0)  # it sits in a place of its own
    assert len(wiring.runs) == 2
    without = display("[wiring]", corner.replace("true", "false")).wiring
    assert without.cell.tolist() == [1, 2, 5, 4, 3]


def test_explicit_runs_have_hidden_leds_at_their_ends_and_in_gaps():
    runs = """
    [[line]]
    [[line.run]]
    from = [0, 0]
    to = [2, 0]
    hidden_first = 1
    [[line.run]]
    from = [2, 1]
    to = [0, 1]
    hidden_first = 2
    hidden_last = 1
    """
    gap = "gaps = [{ column = 1, row = 1, hidden_leds = true }]"
    wiring = display(runs, gap).wiring
    assert wiring.cell.tolist() == [-1, 0, 1, 2, -1, -1, 5, -1, 3, -1]
    assert [(run.first, run.last) for run in wiring.runs] == [(0, 3), (4, 9)]


def test_every_way_to_describe_a_wall_gives_the_same_wiring(tmp_path):
    words = display("[wiring]\nhidden_first = 1\nhidden_between = 1\nhidden_last = 2")
    (tmp_path / "map.csv").write_text(map_csv(words))
    by_map = display('[wiring]\nmap = "map.csv"', path=tmp_path / "wall.toml")
    runs = display(
        """
        [[line]]
        [[line.run]]
        from = [0, 0]
        to = [2, 0]
        hidden_first = 1
        hidden_last = 1
        [[line.run]]
        from = [2, 1]
        to = [0, 1]
        hidden_last = 2
        """
    )
    assert by_map.wiring == words.wiring == runs.wiring
    assert by_map.wiring.runs == words.wiring.runs == runs.wiring.runs


def test_pictures_reach_the_leds_with_a_cell_and_come_back_to_the_cells():
    wiring = shorthand(full(), hidden=(1, 1, 1))
    cells = np.arange(1, 19, dtype=np.uint8).reshape(2, 3, 3)
    leds = wiring.per_led(np.stack([cells, cells + 1]))
    assert not leds[:, wiring.hidden].any()
    assert np.array_equal(wiring.per_cell(leds), np.stack([cells, cells + 1]))
    leds[:, wiring.hidden] = 99  # lit by wrong code, they still are behind no cell
    assert np.array_equal(wiring.per_cell(leds), np.stack([cells, cells + 1]))


def test_without_hidden_leds_the_others_keep_their_numbers():
    wiring = shorthand(full(), lines=2, hidden=(1, 0, 1)).without_hidden
    assert wiring.led.tolist() == [1, 2, 3, 1, 2, 3]
    assert wiring.cell.tolist() == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("rows", "what", "fix"),
    [
        ("0,0,-1,0\n", "is outside the grid", "-1 and -1 for an LED without a cell"),
        ("0,0,0,-1\n", "is outside the grid", "-1 and -1 for an LED without a cell"),
        ("-1,0,-1,-1\n", "is outside the grid", "lines and LEDs from 0"),
        ("0,1,-1,-1\n", "LED 0 is missing", "number the LEDs"),
        ("0,0,-1,-1\n", "no LED for the cells", "list a LED for each"),
    ],
)
def test_faults_of_a_map_with_hidden_leds(tmp_path, rows, what, fix):
    path = tmp_path / "map.csv"
    path.write_text(f"line,led,column,row\n{rows}")
    with pytest.raises(MapFileError, match=what) as caught:
        read_map(path, full())
    assert any(fix in problem.fix for problem in caught.value.problems)


def test_a_claim_may_leave_leds_out_or_give_them_no_cell(tmp_path):
    path = tmp_path / "map.csv"
    path.write_text("line,led,column,row\n0,1,0,0\n0,2,-1,-1\n0,4,1,0\n")
    assert read_claim(path, full()).cell.tolist() == [-1, 0, -1, -1, 1]


def test_a_map_beside_words_on_hidden_leds_is_refused():
    with pytest.raises(DisplayFileError, match="map and hidden_first both describe the wiring"):
        display('[wiring]\nmap = "map.csv"\nhidden_first = 1')


def test_a_line_of_hidden_leds_alone_is_refused():
    gap = "gaps = [{ column = 0, row = 1, columns = 3, hidden_leds = true }]"
    with pytest.raises(DisplayFileError, match="line 1 has hidden LEDs only"):
        display("[wiring]\nlines = 2", gap)
    runs = "[[line]]\n[[line.run]]\nfrom = [0, {}]\nto = [2, {}]\n"
    with pytest.raises(DisplayFileError, match="line 1 has no LED with a cell"):
        display(runs.format(0, 0) + runs.format(1, 1), gap)


def test_the_cut_list_has_the_whole_strip():
    wall = display("[wiring]\nhidden_first = 1\nhidden_last = 2")
    assert [piece.leds for piece in cut_list(wall).pieces] == [4, 5]
    assert length_mm(wall, wall.wiring.runs[0]) == pytest.approx(4 * 1000 / 30)


def test_the_exports_say_which_leds_have_no_cell():
    wall = display("[wiring]\nhidden_first = 1")
    assert map_csv(wall).splitlines()[1:3] == ["0,0,-1,-1", "0,1,0,0"]
    assert '"leds": [null, [0, 0], [1, 0]' in map_json(wall)
    text = map_c(wall)
    assert "#define WALL_NO_CELL 0xFFFF" in text
    assert "WALL_cell_of[WALL_LEDS] = {\n    65535, 0, 1, 2, 5, 4, 3\n" in text.replace(
        "wall_cell_of", "WALL_cell_of"
    )
