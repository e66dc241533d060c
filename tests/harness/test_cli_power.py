from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from emulator import load_display
from emulator.power.wire import CAUTION
from harness.assess import assess

WALL = "[grid]\ncolumns=24\nrows=24\n[chip]\npart='WS2812B'\n[wiring]\n"
SERIES = WALL + "[power]\nfeed=[{led=0}]\njumper={awg=18}\nsupply=[{amps=30}]\n"


def left_behind() -> list[str]:
    return sorted(str(p) for p in Path().rglob("*") if p.is_file())


def test_the_report_of_a_demo(foreglow):
    status, out, err = foreglow("power", "foyer")
    assert (status, err) == (0, "")
    for heading in ("Current", "Supplies", "Lowest voltage", "Wires", "Energy and heat"):
        assert f"\n{heading}" in out
    assert "43.68" in out  # 716 × 61 mA at full white
    assert "Findings" not in out
    assert " ".join(out.split()).count(CAUTION) == 1
    with Image.open("foreglow-out/foyer-power.png") as image:
        assert image.size[0] > 1000


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_the_report_fits_80_columns(foreglow, name):
    _, out, _ = foreglow("power", name, "clock", "--plan", 4.6, "--seconds", 2)
    assert max(map(len, out.splitlines())) <= 80
    assert "safe" not in out.lower()


def test_long_tables_are_cut_and_say_so(foreglow):
    _, out, _ = foreglow("power", "foyer")
    assert "10 of 22 runs, lowest voltage first; all in --json" in out
    assert "12 ×  feed" in out  # wires, though, are all there, identical ones in one row
    assert "10 ×  bus, feed to feed" in out


def test_json_holds_all_the_figures_and_the_caution(foreglow):
    status, out, _ = foreglow("power", "foyer", "--json")
    found = json.loads(out)
    assert status == 0
    assert (found["display"], found["verdict"], found["findings"]) == ("foyer", "pass", [])
    assert found["caution"] == CAUTION
    assert len(found["wires"]) == 66
    assert found["white"]["asked_a"] == pytest.approx(716 * 0.061)
    assert [s["name"] for s in found["scenes"]] == [
        "scene aurora",
        "scene clock",
        "scene lobby",
        "scene programme",
    ]
    assert found["solver"]["converged"] is True
    assert found["plan"] is None


def test_faults_end_in_status_1_with_findings_and_suggestions(foreglow):
    Path("series.toml").write_text(SERIES)
    status, out, _ = foreglow("power", "series")
    assert status == 1
    flat = " ".join(out.split())
    assert "✗ LED 575 of line 0 gets" in flat
    assert "→ limit to 24 A (68% of full white): load of supply 0 117% → 80%" in flat
    assert "the wires let through" in flat
    assert flat.count(CAUTION) == 1
    status, out, _ = foreglow("power", "series", "--json")
    assert (status, json.loads(out)["verdict"]) == (1, "fail")


def test_a_display_that_says_nothing_of_power_is_told_what_is_assumed(foreglow):
    Path("wall.toml").write_text(WALL.replace("24", "6"))
    status, out, _ = foreglow("power", "wall")
    assert status == 0
    assert "No [power] section: supply, feeds and bus are assumed." in out


def test_a_scene_is_followed_in_time(foreglow):
    Path("dim.toml").write_text(WALL.replace("24", "10") + "[power]\nlimit_a=3.5\n")
    asked = ("power", "dim", "full-load", "--seconds", 8)
    _, out, _ = foreglow(*asked, "--json")
    (course,) = json.loads(out)["followed"]
    # Four steps of two seconds, the last of them full white: 100 × 61 mA, and half of it 3.1 A.
    assert (course["seconds"], course["name"]) == (8, "pattern full-load")
    assert course["asked_peak_a"] == pytest.approx(6.1)
    assert course["sent_peak_a"] <= 3.5
    assert course["above_limit"] == 0.5
    _, out, _ = foreglow(*asked)
    assert "above the limit 50.0% of the time" in out
    assert "Over time  pattern full-load, 8 s" in out


def test_the_plan_can_be_put_into_the_file_and_keeps_its_promise(foreglow):
    Path("series.toml").write_text(SERIES)
    _, out, _ = foreglow("power", "series", "--plan", 4.5)
    assert "before  1.72 V at LED 575 of line 0" in out
    toml = out.split("For the display file:\n")[1].split("\n\n")[0]
    Path("planned.toml").write_text(WALL + toml)
    planned = assess(load_display("planned"))
    assert planned.lowest.volts >= 4.5
    assert planned.supplies[0].share <= 0.8
    assert foreglow("power", "planned")[0] == 0


def test_a_plan_is_for_the_load_asked_or_for_what_the_limit_allows(foreglow):
    def level(*more):
        return json.loads(foreglow("power", "banner", "--plan", 4.5, "--json", *more)[1])["plan"]

    assert level()["level"] is None  # the worst pictures that the limit of 16 A allows
    assert level("--level", 0.3)["level"] == 0.3
    assert level()["caution"] == CAUTION


def test_a_plan_that_cannot_be_had_says_why(foreglow):
    _, out, _ = foreglow("power", "foyer", "--plan", 4.99)
    assert "It cannot be had" in out
    assert "For the display file" not in out


def test_the_plot_goes_where_it_is_asked_to(foreglow):
    foreglow("power", "sign", "--plot", "a/b.svg")
    assert left_behind() == ["a/b.svg"]
    assert "<svg" in Path("a/b.svg").read_text()


@pytest.mark.parametrize(
    "words",
    [
        ("power",),
        ("power", "nowhere"),
        ("power", "foyer", "sunrise"),
        ("power", "foyer", "rows", "clock"),
        ("power", "foyer", "clock", "--seconds", "0"),
        ("power", "foyer", "clock", "--seconds", "nan"),
        ("power", "foyer", "clock", "--seconds", "999h"),
        ("power", "foyer", "--seconds", "5"),
        ("power", "foyer", "--plan", "-1"),
        ("power", "foyer", "--plan", "nan"),
        ("power", "foyer", "--plan", "4.5", "--level", "2"),
        ("power", "foyer", "--level", "0.5"),
        ("power", "foyer", "--plot", "plot.pdf"),
        ("power", "foyer", "--plot", "/proc/nowhere/plot.png"),
    ],
)
def test_bad_input_exits_2_with_words_and_leaves_nothing(foreglow, words):
    status, out, err = foreglow(*words)
    assert status == 2
    assert err.strip()
    assert "Traceback" not in out + err
    assert left_behind() == []
