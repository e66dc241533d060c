from __future__ import annotations

import json
import sys
import types
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import DisplayFileError, ForeglowError, UnknownNameError, demo_names, load_display
from emulator import parse_display as parse
from emulator.description.sections import DisplayFile

HERE = Path("wall.toml")
GOOD = """
[grid]
columns = 4
rows = 2
[chip]
part = "WS2812B"
[wiring]
"""


def faults(text: str) -> tuple:
    with pytest.raises(DisplayFileError) as caught:
        parse(text, HERE)
    assert str(caught.value).count("Fix:") == len(caught.value.problems)
    return caught.value.problems


def test_the_demos_are_found_where_another_package_is_called_scenes(monkeypatch):
    monkeypatch.setitem(sys.modules, "scenes", types.ModuleType("scenes"))
    assert "foyer" in demo_names()
    assert load_display("foyer").grid.columns == 36


@pytest.mark.parametrize("name", demo_names())
def test_the_demos_load(name):
    assert load_display(name).name == name


def test_defaults_are_filled_in():
    display = parse(GOOD, HERE)
    assert (display.leds, display.controller.frame_rate, display.reel_leds) == (8, 30.0, 150)


def test_unknown_key_names_line_table_near_miss_and_what_is_allowed():
    (problem,) = faults(GOOD.replace("rows = 2", "rows = 2\ngasp = []"))
    assert (problem.key, problem.table, problem.line) == ("gasp", "[grid]", 5)
    assert "columns" in problem.allowed
    assert "Did you mean 'gaps'?" in problem.describe("wall.toml")


def test_all_faults_are_reported_at_once_each_with_its_line():
    text = GOOD.replace("columns = 4", "columns = 0").replace("rows = 2", 'rows = "two"')
    assert [(p.key, p.line) for p in faults(text)] == [("columns", 3), ("rows", 4)]


@pytest.mark.parametrize("columns", ["0", "-3", "100000", "1e3", "true", "nan"])
def test_impossible_column_counts_are_refused(columns):
    assert [p.key for p in faults(GOOD.replace("columns = 4", f"columns = {columns}"))] == [
        "columns"
    ]


def test_a_second_run_with_a_fault_is_counted_through_the_file():
    lines = """
[[line]]
[[line.run]]
from = [0, 0]
to = [3, 0]
[[line]]
[[line.run]]
from = [0, 1]
too = [3, 1]
"""
    problems = faults(GOOD.replace("[wiring]\n", lines))
    assert {(p.key, p.table) for p in problems} == {
        ("to", "[[line.run]] number 2"),
        ("too", "[[line.run]] number 2"),
    }
    assert [p.line for p in problems if p.key == "too"] == [15]


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        ("{from=[0,0],to=[3,0]},{from=[0,0],to=[3,0]}", "already belong to run number 1"),
        ("{from=[0,0],to=[9,0]}", "outside the grid"),
        ("{from=[0,0],to=[3,1]}", "neither a row nor a column"),
        ("{from=[0,0],to=[3,0]}", "no run reaches the cells (column, row) (0, 1)"),
    ],
)
def test_runs_that_overlap_leave_the_grid_lie_askew_or_miss_cells(runs, said):
    (problem,) = faults(GOOD.replace("[wiring]\n", f"[[line]]\nrun=[{runs}]\n"))
    assert said in problem.message


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x = [[", "not valid TOML"),
        ("", "[grid] is missing"),
        (GOOD.replace("[wiring]\n", ""), "no wiring"),
        (GOOD + "lines = 3\n", "3 lines cannot share 2 rows"),
        (GOOD + "start = 'top-lift'\n", "did you mean 'top-left'"),
        (GOOD + "map = 'x.csv'\nalong = 'rows'\n", "map and along both describe"),
        (GOOD.replace("WS2812B", "WS28l2B"), "did you mean 'WS2812B'"),
        (GOOD.replace("part", "order = 'RGW'\npart"), "does not name the channels"),
        (GOOD.replace("part", "t0h_ns = [1, 900, 950]\npart"), "the two overlap"),
        (GOOD.replace("part", "t0l_ns = [9, 5, 7]\npart"), "not least ≤ nominal ≤ most"),
        (GOOD.replace("WS2812B", "APA102").replace("part", "reset_us = 9\npart"), "clock line"),
        (
            GOOD.replace("rows = 2", "rows = 2\ngaps=[{column=3,row=1,columns=2}]"),
            "outside the grid",
        ),
        (
            GOOD.replace("rows = 2", "rows = 2\ngaps=[{column=0,row=0,columns=4,rows=2}]"),
            "cover every cell",
        ),
        (GOOD.replace("columns = 4", "columns = 4096").replace("rows = 2", "rows = 4096"), "cells"),
    ],
)
def test_contradictions_are_told_in_words(text, said):
    assert said in "\n".join(p.describe("wall.toml") for p in faults(text))


def test_own_figures_replace_the_catalogues_and_say_so():
    text = GOOD.replace("part", 'order = "rgb"\nt0h_ns = [250, 350, 500]\nreset_us = 60\npart')
    chip = parse(text, HERE).chip
    assert (chip.order, chip.wire.t0h, chip.wire.reset_ns) == ("RGB", (250, 350, 500), 60_000)
    assert chip.sources["wire"] == chip.sources["order"] == "the display file"


def test_a_file_is_found_with_and_without_its_ending(tmp_path, monkeypatch):
    (tmp_path / "mywall.toml").write_text(GOOD)
    monkeypatch.chdir(tmp_path)
    assert load_display("mywall").leds == load_display(tmp_path / "mywall.toml").leds == 8


def test_files_that_are_not_there_or_not_text_are_told(tmp_path):
    with pytest.raises(UnknownNameError, match="foyer"):
        load_display("nowhere")
    with pytest.raises(DisplayFileError, match="no such file"):
        load_display(tmp_path / "nowhere.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DisplayFileError, match="not a text file"):
        load_display(tmp_path / "binary.toml")
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(DisplayFileError, match="cannot be read"):
        load_display(tmp_path / "folder.toml")


def test_the_schema_names_every_section():
    schema = DisplayFile.model_json_schema(by_alias=True)
    assert set(schema["properties"]) >= {"grid", "chip", "wiring", "line", "controller", "cover"}
    assert "from" in json.dumps(schema["$defs"]["RunSection"])


values = st.recursive(
    st.none() | st.booleans() | st.integers(-10, 5000) | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=6,
)
keys = st.sampled_from(
    ["columns", "rows", "pitch_mm", "gaps", "part", "order", "t0h_ns", "start", "lines", "map"]
)


@given(st.text(max_size=200))
def test_any_text_is_a_display_or_a_clear_error(text):
    try:
        parse(text, HERE)
    except ForeglowError as error:
        assert "Fix:" in str(error)


@given(st.dictionaries(keys, values, max_size=4), st.sampled_from(["grid", "chip", "wiring"]))
def test_any_values_give_a_display_or_a_clear_error(entries, section):
    body = "".join(
        f"{k} = {json.dumps(v)}\n"
        for k, v in entries.items()
        if v is not None and "null" not in json.dumps(v)
    )
    text = GOOD.replace(f"[{section}]\n", f"[{section}]\n{body}")
    try:
        assert parse(text, HERE).leds > 0
    except ForeglowError as error:
        assert "Fix:" in str(error)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD.replace("columns = 4", "columns = " + "9" * 5000), "not valid TOML"),
        ('about = "a\\u001b[31m"\n' + GOOD, "without control characters"),
        (GOOD + 'map = "a\\u0000b"\n', "no file can have this name"),
        (
            GOOD.replace("rows = 2", "rows = 2\npitch_mm = 1e-300"),
            "give greater than or equal to 0.5",
        ),
        (GOOD.replace("[grid]\ncolumns = 4\nrows = 2", "grid = 3"), "a table of keys"),
    ],
)
def test_odd_values_are_told_without_words_of_python(text, said):
    with pytest.raises(ForeglowError) as caught:
        parse(text, HERE)
    assert said in str(caught.value)


def test_a_name_that_no_file_can_have_is_unknown():
    with pytest.raises(UnknownNameError):
        load_display("x" * 300)
    with pytest.raises(ForeglowError):
        load_display("a\0b.toml")


def test_a_name_nearly_right_finds_the_file_beside(tmp_path, monkeypatch):
    (tmp_path / "lobbywall.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    for name in ("lobywall", str(tmp_path / "lobywall")):
        with pytest.raises(UnknownNameError) as found:
            load_display(name)
        assert "lobbywall" in found.value.known
    with pytest.raises(UnknownNameError, match="did you mean 'lobbywall'"):
        load_display("lobywall")
    for name in ("nowhere/wall", "no\0where/wall"):
        with pytest.raises(ForeglowError):
            load_display(name)
