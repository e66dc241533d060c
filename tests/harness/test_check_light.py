"""Check `light`: findings a builder can act on, and none on the demos."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator import load_display, parse_display
from emulator.light.figures import figures, with_cover
from harness.checks.check import run_checks
from harness.subject import own_code
from harness.trial import Trial


def wall(cover="", view="", rows=8, more=""):
    return parse_display(
        f"[grid]\ncolumns=12\nrows={rows}\npitch_mm=20\n[chip]\npart='WS2812B'\n[wiring]\n"
        f"[cover]\n{cover}\n[view]\n{view}\n{more}\n",
        Path("wall.toml"),
    )


def result_of(display):
    (result,) = run_checks(Trial(display, own_code(display)), ("light",)).results
    return result


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_the_demos_have_no_findings(name):
    result = result_of(load_display(name))
    assert (result.verdict, result.findings) == ("pass", ())
    assert result.figures["min_to_mean"] >= 0.8


GOOD = "depth_mm=16\nwalls='white'"

# What is wrong, then the same mended: a word the finding must say, and the sections.
CASES = {
    "hot spots": ("hot spots", wall("depth_mm=4\nwalls='white'"), wall(GOOD)),
    "leak": ("light leaks", wall("depth_mm=16\nwalls='none'"), wall(GOOD)),
    "washed out": ("washed out", wall(GOOD, "ambient_lx=20000"), wall(GOOD, "ambient_lx=200")),
    # 5 arcminutes at 200 m: 291 mm; 5 rows are 100 mm, 15 rows 300 mm.
    "no letter": (
        "no letter reads", wall(GOOD, "distance_m=200", 5), wall(GOOD, "distance_m=200", 15)
    ),
}  # fmt: skip


def test_hot_spots_are_judged_by_min_to_mean_not_by_min_to_max():
    display = wall("depth_mm=10\nwalls='white'")
    found = figures(display)
    assert found.min_to_max < 0.45, "what the mark of 0.5 would call uneven"
    assert found.min_to_mean > 0.55
    assert result_of(display).findings == ()


def test_washed_out_is_judged_by_white_as_it_is_fed():
    # By hand: a limit of a fifth of what white asks for leaves at most a third of its light.
    bright = wall(GOOD, "ambient_lx=1000")
    limited = wall(GOOD, "ambient_lx=1000", more="[power]\nsupply=[{amps=10}]\nlimit_a=0.5")
    assert result_of(bright).findings == ()
    result = result_of(limited)
    (finding,) = (f for f in result.findings if "washed out" in f.what)
    assert "limit_a" in finding.remedy
    told = result.figures
    ratio = (told["fed_cdm2"] + told["ambient_cdm2"]) / told["ambient_cdm2"]
    assert told["contrast"] == pytest.approx(ratio, rel=1e-3)
    assert told["fed_cdm2"] < told["mean_cdm2"] / 3
    assert f"only {told['contrast']:.1f} times" in finding.what
    # Where even full white is too little, more current is no remedy.
    sunny = wall(GOOD, "ambient_lx=20000", more="[power]\nsupply=[{amps=10}]\nlimit_a=0.5")
    (finding,) = (f for f in result_of(sunny).findings if "washed out" in f.what)
    assert "limit_a" not in finding.remedy
    assert "shade the wall" in finding.remedy


@pytest.mark.parametrize("case", CASES)
def test_a_fault_is_found_and_gone_once_mended(case):
    word, wrong, mended = CASES[case]
    (finding,) = result_of(wrong).findings
    assert word in finding.what
    assert finding.severity in ("warning", "note")
    assert result_of(wrong).verdict != "fail", "a matter of looks is no fault"
    assert result_of(mended).findings == ()


def test_the_depth_it_names_for_hot_spots_gives_what_it_says():
    display = wall("depth_mm=4\nwalls='white'")
    (finding,) = result_of(display).findings
    assert "at depth 4 mm" in finding.what
    depth = float(finding.what.split("; ")[1].split(" mm gives 0.8")[0])
    assert figures(with_cover(display, depth_mm=depth)).min_to_mean == pytest.approx(0.8, abs=0.04)


def test_figures_are_plain_numbers_for_json():
    figures_found = result_of(wall(GOOD, "ambient_lx=0")).figures
    assert figures_found["contrast"] is None
    assert {type(v) for k, v in figures_found.items() if k != "contrast"} == {float}


def test_what_the_file_leaves_open_is_only_noted():
    text = "[grid]\ncolumns=12\nrows=8\n[chip]\npart='WS2812B'\n[wiring]\n"
    (finding,) = result_of(parse_display(text, Path("bare.toml"))).findings
    assert "hot spots" in finding.what
    assert finding.severity == "note"
    (finding,) = result_of(parse_display(text + "[cover]\ndepth_mm=10\n", Path("w.toml"))).findings
    assert finding.severity == "warning"
