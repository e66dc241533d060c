"""`foreglow campaign`."""

from __future__ import annotations

import json
import sys

import pytest
from PIL import Image

from emulator import load_display
from harness.campaign.campaign import single_faults

WALL = """\
[grid]
columns = 3
rows = 2

[chip]
part = "WS2812B"

[wiring]
start = "top-left"
"""

# Enough to detect everything on this wall, in a second.
FEW = ("--pattern", "coded", "--pattern", "channels", "--pairs", "10")


@pytest.fixture
def wall(tmp_path):
    (tmp_path / "wall.toml").write_text(WALL)
    return tmp_path


@pytest.mark.slow
@pytest.mark.charts
def test_the_report_has_counts_sets_survivors_and_a_chart(foreglow, wall):
    status, out, err = foreglow("campaign", "wall.toml", "--plot", "matrix.png", *FEW)
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    count = len(single_faults(load_display(wall / "wall.toml")))
    for text in (f"{count} single faults", "100 %", "coded", "10 pairs of faults", "overhead",
                 "led-off-middle", "fewest patterns", "look alike", "low-logic",
                 "Not detected, it changes nothing: run-long run=1", "a camera",
                 "matrix.png"):  # fmt: skip
        assert text in words, text
    with Image.open(wall / "matrix.png") as image:
        assert image.width > 800


def test_the_report_as_json(foreglow, wall):
    status, out, _ = foreglow("campaign", "wall.toml", "--json", *FEW)
    done = json.loads(out)
    assert status == 0
    assert done["faults"] == len(single_faults(load_display(wall / "wall.toml")))
    assert done["faults"] - len(done["survivors"]) == done["detected"] >= done["named"] > 0
    assert done["smallest_set"]
    assert set(done["survivors"][0]) == {"fault", "reason"}
    assert sum(kind["faults"] for kind in done["matrix"]) == done["faults"] == len(done["each"])
    assert sum("eye" in one["detected_by"] for one in done["each"]) == done["detected"]
    [one] = [one for one in done["each"] if one["fault"] == "led-dark led=0"]
    assert one["detected_by"] == ["exact", "eye", "camera"]
    assert "channels" in one["patterns"]


def test_without_scipy_it_says_what_to_install(foreglow, wall, monkeypatch):
    monkeypatch.setitem(sys.modules, "scipy", None)
    monkeypatch.setitem(sys.modules, "scipy.optimize", None)
    status, out, err = foreglow("campaign", "wall.toml")
    assert (status, out) == (2, "")
    assert "pip install 'foreglow[campaign]'" in err
    assert not (wall / "foreglow-out").exists()
