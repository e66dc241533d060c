"""CSV, JSON and C maps: each has the content of the wiring, read back by another program."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.description.display import Display
from emulator.description.load import parse_display
from emulator.description.mapfile import read_map
from harness.report.build.mapformats import map_c, map_csv, map_json

GAP = "gaps = [{ column = 1, row = 1, columns = 2, rows = 2 }]"


def wall(wiring: str, columns: int, rows: int, grid: str = "", name: str = "wall") -> Display:
    text = (
        f'[grid]\ncolumns = {columns}\nrows = {rows}\n{grid}\n[chip]\npart = "SK6812"\n'
        f"[wiring]\n{wiring}\n"
    )
    return parse_display(text, Path(f"{name}.toml"))


@st.composite
def walls(draw: st.DrawFn) -> Display:
    columns, rows = draw(st.integers(4, 9)), draw(st.integers(4, 9))
    along = draw(st.sampled_from(["rows", "columns"]))
    start = draw(st.sampled_from(["top-left", "top-right", "bottom-left", "bottom-right"]))
    path = draw(st.sampled_from(["serpentine", "progressive"]))
    lines = draw(st.integers(1, 3))
    c, r = draw(st.integers(0, columns - 2)), draw(st.integers(0, rows - 2))
    gap = f"gaps = [{{ column = {c}, row = {r}, columns = {draw(st.integers(1, 2))} }}]"
    words = f'along = "{along}"\nstart = "{start}"\npath = "{path}"\nlines = {lines}'
    return wall(words, columns, rows, draw(st.sampled_from(["", gap])))


# ---- CSV -------------------------------------------------------------------------------------


@given(display=walls())
def test_csv_reads_back_as_the_same_wiring(
    display: Display, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("map") / "map.csv"
    path.write_text(map_csv(display), encoding="utf-8")
    assert read_map(path, display.gap) == display.wiring


def test_csv_of_a_small_serpentine_wall_is_as_worked_by_hand() -> None:
    assert list(csv.reader(map_csv(wall("lines = 2", 2, 3)).splitlines())) == [
        ["line", "led", "column", "row"],
        ["0", "0", "0", "0"],
        ["0", "1", "1", "0"],
        ["0", "2", "1", "1"],
        ["0", "3", "0", "1"],
        ["1", "0", "0", "2"],
        ["1", "1", "1", "2"],
    ]


# ---- JSON ------------------------------------------------------------------------------------


def test_json_of_a_small_wall_with_a_gap_is_as_worked_by_hand() -> None:
    display = wall("reel_leds = 2", 3, 2, "gaps = [{ column = 1, row = 0 }]")
    found = json.loads(map_json(display))
    assert found["display"] == "wall"
    assert (found["columns"], found["rows"]) == (3, 2)
    assert found["lines"] == [{"name": "line 0", "leds": [[0, 0], [2, 0], [2, 1], [1, 1], [0, 1]]}]
    assert found["led_at"] == [[[0, 0], None, [0, 1]], [[0, 4], [0, 3], [0, 2]]]
    assert found["runs"][2] == {
        "run": 2, "line": 0, "first": 2, "last": 4, "from": [2, 1], "to": [0, 1], "leds": 3,
        "length_mm": 100.0, "direction": "←",
    }  # fmt: skip
    # 1 + 1 + 3 LEDs from reels of 2: the run of 3 is joined from 2 + 1; 3 reels hold 6.
    assert found["cut_list"]["joined_runs"] == [2]
    assert [reel["left_over"] for reel in found["cut_list"]["reels"]] == [0, 0, 1]


@given(walls())
def test_json_maps_led_to_cell_and_back(display: Display) -> None:
    found = json.loads(map_json(display))
    for number, line in enumerate(found["lines"]):
        for led, (column, row) in enumerate(line["leds"]):
            assert found["led_at"][row][column] == [number, led]
    dark = [[entry is None for entry in row] for row in found["led_at"]]
    assert dark == display.gap.tolist()


def test_json_cut_list_follows_the_reel_of_the_display() -> None:
    assert json.loads(map_json(wall("reel_leds = 10", 10, 2)))["cut_list"]["reel_leds"] == 10


# ---- C ---------------------------------------------------------------------------------------

PRINT_ALL = """
#include <stdio.h>
#include "map.h"
int main(void)
{
    unsigned long i, j;
    for (i = 0; i < NAME_ROWS; i++)
        for (j = 0; j < NAME_COLUMNS; j++) {
            unsigned long led = name_led_at[i][j];
            if (led == NAME_NO_LED)
                printf("-1\\n");
            else
                printf("%lu\\n", led);
        }
    for (i = 0; i < NAME_LEDS; i++)
        printf("%lu\\n", (unsigned long)name_cell_of[i]);
    for (i = 0; i <= NAME_LINES; i++)
        printf("%lu\\n", (unsigned long)name_line_start[i]);
    return 0;
}
"""


def compiled_output(display: Display, identifier: str, folder: Path) -> list[int]:
    gcc = shutil.which("gcc")
    if gcc is None:
        pytest.skip("gcc is not on this machine")
    (folder / "map.h").write_text(map_c(display), encoding="utf-8")
    code = PRINT_ALL.replace("NAME", identifier.upper()).replace("name_", f"{identifier}_")
    (folder / "main.c").write_text(code, encoding="utf-8")
    strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"]
    subprocess.run([gcc, *strict, "main.c", "-o", "main"], cwd=folder, check=True)
    run = subprocess.run([folder / "main"], check=True, capture_output=True, text=True)
    return [int(line) for line in run.stdout.split()]


@pytest.mark.parametrize(
    ("name", "identifier"),
    [
        ("foyer", "foyer"),
        ("2nd floor", "display_2nd_floor"),
        ("int", "int"),
        ("tricky */ ??/ // \\ ü", "tricky"),
        ("漢字", "display"),
    ],
)
def test_c_header_compiles_strictly_and_holds_the_wiring(
    name: str, identifier: str, tmp_path: Path
) -> None:
    # Independent judge: gcc as a C99 compiler (ISO/IEC 9899:1999) without extensions.
    wiring = (display := wall("lines = 2", 5, 4, GAP, name.replace("/", "_"))).wiring
    assert compiled_output(display, identifier, tmp_path) == [
        *wiring.led_at.reshape(-1).tolist(),
        *wiring.cell.tolist(),
        *wiring.line_starts,
        len(wiring),
    ]


def test_c_header_of_a_large_wall_uses_32_bits(tmp_path: Path) -> None:
    # 256 × 256 = 65536 cells: one more than 16 bits can tell from 'no LED' (0xFFFF).
    display = wall("", 256, 256, "gaps = [{ column = 0, row = 0 }]")
    assert "uint32_t" in map_c(display)
    found = compiled_output(display, "wall", tmp_path)
    assert found[:2] == [-1, 0]
    assert found[:65536] == display.wiring.led_at.reshape(-1).tolist()


def test_c_header_keeps_to_16_bits_while_they_suffice() -> None:
    assert "uint32_t" not in map_c(wall("", 257, 254))  # 65278 cells


def test_line_names_cannot_break_out_of_the_c_comment(tmp_path: Path) -> None:
    text = (
        '[grid]\ncolumns = 2\nrows = 1\n[chip]\npart = "SK6812"\n'
        '[[line]]\nname = "*/ #error /* ??/"\n[[line.run]]\nfrom = [0, 0]\nto = [1, 0]\n'
    )
    display = parse_display(text, Path("wall.toml"))
    assert compiled_output(display, "wall", tmp_path) == [0, 1, 0, 1, 0, 2]
