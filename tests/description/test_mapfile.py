from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import DisplayFileError, ForeglowError, MapFileError, load_display
from emulator.description.mapfile import read_claim, read_map

GAP = np.array([[False, False], [False, True]])  # 2 × 2, no LED at column 1, row 1
GOOD = "line,led,column,row\n0,0,0,0\n0,1,1,0\n1,0,0,1\n"


def read(tmp_path, text):
    path = tmp_path / "map.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_map(path, GAP)


def test_a_map_is_read_in_any_order_of_columns_and_lines(tmp_path):
    wiring = read(tmp_path, "row,column,led,line\n1,0,0,1\n0,1,1,0\n0,0,0,0\n")
    assert wiring == read(tmp_path, GOOD)
    assert wiring.cell.tolist() == [0, 1, 2]
    assert wiring.line_lengths == (2, 1)


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "the first line must name the columns"),
        ("line,led,colum,row\n", 1, "did you mean 'column'"),
        ("line,led,column,row\n", None, "no LED is listed"),
        (GOOD + "1,1,x,0\n", 5, "not four whole numbers"),
        (GOOD + "1,1,0\n", 5, "not four whole numbers"),
        (GOOD + "1,1,9,0\n", 5, "outside the grid"),
        (GOOD + "1,1,-1,0\n", 5, "outside the grid"),
        (GOOD + "1,0,0,0\n", 5, "line 1, LED 0 is listed twice"),
        (GOOD + "1,1,1,1\n", 5, "is in a gap"),
        (GOOD + "1,1,0,0\n", 5, "already holds line 0, LED 0"),
        (GOOD.replace("1,0,0,1", "1,1,0,1"), 4, "LED 0 is missing"),
        (GOOD.replace("1,0,0,1", "2,0,0,1"), 4, "line 1 has no LED"),
        (GOOD.replace("1,0,0,1\n", ""), None, "no LED for the cells (column, row) (0, 1)"),
        (b"\xff\xfe\x00\x01", None, "not a text file"),
        (GOOD + "9" * 30 + ",0,0,0\n", 5, "not four whole numbers"),
    ],
)
def test_faults_name_the_line_and_the_mend(tmp_path, text, line, said):
    with pytest.raises(MapFileError) as caught:
        read(tmp_path, text)
    assert caught.value.problems[0].line == line
    assert said in str(caught.value)
    assert "Fix:" in str(caught.value)


@pytest.mark.parametrize("end", ["\r", "\r\n", "\n\n"])
def test_any_line_end_will_do(tmp_path, end):
    assert read(tmp_path, GOOD.replace("\n", end)) == read(tmp_path, GOOD)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("x,y,z,w\n", "not four whole numbers"),
        ("0,0,9,0\n", "outside the grid"),
        ("1,0,0,1\n", "listed twice"),
    ],
)
def test_of_many_faults_the_first_20_are_told_and_the_rest_counted(tmp_path, row, said):
    with pytest.raises(MapFileError) as failed:
        read(tmp_path, GOOD + row * 50_000)
    assert str(failed.value).count(said) == 20
    assert "49980 more faults" in str(failed.value)


def test_a_claim_may_double_and_miss_cells_where_a_wiring_may_not(tmp_path):
    path = tmp_path / "map.csv"
    path.write_text("line,led,column,row\n0,0,0,0\n0,1,0,0\n0,2,1,1\n2,1,0,1\n")
    claim = read_claim(path, GAP)
    assert claim.cell.tolist() == [0, 0, 3, -1, 2]  # the LED that is not listed has no cell
    assert claim.line_lengths == (3, 0, 2)


def test_a_display_takes_its_wiring_from_a_map_beside_it(tmp_path):
    (tmp_path / "wall.csv").write_text("line,led,column,row\n0,0,1,0\n0,1,0,0\n")
    text = "[grid]\ncolumns=2\nrows=1\n[chip]\npart='SK6812'\n[wiring]\nmap='wall.csv'\n"
    (tmp_path / "wall.toml").write_text(text)
    assert load_display(tmp_path / "wall.toml").wiring.cell.tolist() == [1, 0]
    (tmp_path / "wall.csv").unlink()
    with pytest.raises((MapFileError, DisplayFileError), match="no such file"):
        load_display(tmp_path / "wall.toml")


@given(st.binary(max_size=200) | st.text('0123,-\nledcolumrw"', max_size=120).map(str.encode))
def test_any_bytes_are_a_map_or_a_clear_error(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("maps") / "map.csv"
    path.write_bytes(b"line,led,column,row\n" + content)
    try:
        assert len(read_map(path, GAP)) == 3
    except ForeglowError as error:
        assert "Fix:" in str(error)
