"""`foreglow cut`: the folder, the list, the errors."""

from __future__ import annotations

import json
from pathlib import Path

import pytest


def test_the_list_says_what_to_cut_and_the_folder_has_it(foreglow):
    status, out, _ = foreglow("cut", "foyer", "-o", "parts", "--bed", "300x200")
    assert status == 0
    # 37 lines between columns, 21 between rows, and the speaker's gap divides one of each.
    assert "between rows, line 10 from the top:" in out
    assert "(free to 19)" in out
    assert "Never cut PVC" in out
    assert "inner with opening" in out
    assert {p.name for p in Path("parts").iterdir()} >= {"slats-1.dxf", "front-1.svg", "parts.txt"}
    assert "Never cut PVC" in Path("parts/parts.txt").read_text(encoding="utf-8")


def test_json_counts_the_same_parts(foreglow):
    status, out, _ = foreglow("cut", "sign", "-o", "parts", "--json", "--line", "cut=OUT:30")
    found = json.loads(out)
    assert status == 0
    assert found == json.loads(Path("parts/parts.json").read_text(encoding="utf-8"))
    # 16 × 8 cells fit a bed: 9 slats between rows, 17 between columns, one front.
    assert [part["count"] for part in found["parts"]] == [9, 17, 1]
    assert found["lines"]["cut"]["layer"] == "OUT"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--bed", "300"), "write --bed 300x200"),
        (("--bed", "0x200"), "write --bed 300x200"),
        (("--line", "cut=red"), "--line cut=LAYER:red"),
        (("--line", "cut=A:256"), "is not a colour"),
        (("--line", "cut=A:red", "--line", "inside=A:1"), "a layer or a colour of its own"),
        (("--line", "drill=A:red"), "engrave, inside or cut"),
        (("--bed", "20x20"), "give a larger --bed"),
        (("--thickness", "20"), "give a smaller --thickness"),
        (("--kerf", "nan"), "--kerf"),
    ],
)
def test_bad_values_are_errors_and_write_nothing(foreglow, words, said):
    status, _, err = foreglow("cut", "foyer", "-o", "parts", *words)
    assert status == 2
    assert said in " ".join(err.split())
    assert not Path("parts").exists()


def test_a_folder_in_use_is_left_as_it_is(foreglow):
    Path("parts").mkdir()
    Path("parts/mine.txt").write_text("mine")
    status, _, err = foreglow("cut", "sign", "-o", "parts")
    assert status == 2
    assert "is left as it is" in err
    assert [path.name for path in Path("parts").iterdir()] == ["mine.txt"]
