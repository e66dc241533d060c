"""Check `light`: findings a builder can act on, and none on the demos."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator import load_display, parse_display
from emulator.light.figures import figures
from emulator.light.front import with_cover
from harness.checks.check import run_checks
from harness.subject.subject import own_code
from harness.subject.trial import Trial


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

# What is wrong, then the same fixed: a word the finding must say, and the sections.
CASES = {
    "hot spots": ("hot spots", wall("depth_mm=4\nwalls='white'"), wall(GOOD)),
    "leak": ("light leaks", wall("depth_mm=16\nwalls='none'"), wall(GOOD)),
    "washed out": ("washed out", wall(GOOD, "ambient_lx=20000"), wall(GOOD, "ambient_lx=200")),
    # 5 arcminutes at 200 m: 291 mm; 5 rows are 100 mm, 15 rows 300 mm.
    "no letter": (
        "no letter is readable", wall(GOOD, "distance_m=200", 5), wall(GOOD, "distance_m=200", 15)
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
    # Where even full white is too little, more current does not help.
    sunny = wall(GOOD, "ambient_lx=20000", more="[power]\nsupply=[{amps=10}]\nlimit_a=0.5")
    (finding,) = (f for f in result_of(sunny).findings if "washed out" in f.what)
    assert "limit_a" not in finding.remedy
    assert "shade the wall" in finding.remedy


@pytest.mark.parametrize("case", CASES)
def test_a_fault_is_found_and_gone_once_mended(case):
    word, wrong, right = CASES[case]
    (finding,) = result_of(wrong).findings
    assert word in finding.what
    assert finding.severity == "note"
    assert result_of(wrong).verdict == "pass", "a matter of looks is not a fault"
    assert result_of(right).findings == ()


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


@pytest.mark.parametrize(
    ("word", "bad", "wanted", "section"),
    [
        ("hot spots", "depth_mm=10", "least_min_to_mean=0.5", "cover"),
        ("light leaks", "walls='none'", "most_crosstalk=0.1", "cover"),
        ("washed out", "ambient_lx=20000", "least_contrast=2.5", "view"),
    ],
)
def test_a_matter_of_taste_is_a_warning_only_where_the_file_says_what_is_wanted(
    word, bad, wanted, section
):
    def found(*lines):
        said = {"cover": "", "view": "", section: "\n".join(lines)}
        result = result_of(wall(said["cover"], said["view"]))
        return result.verdict, [f for f in result.findings if word in f.what]

    verdict, (finding,) = found(bad)
    assert (verdict, finding.severity) == ("pass", "note")
    verdict, (finding,) = found(bad, wanted)
    assert (verdict, finding.severity) == ("warning", "warning")
    assert f"{wanted.split('=')[1]} is wanted" in finding.what


def test_what_is_wanted_is_the_mark():
    # Black walls, 33.3 mm pitch: closed form of cos⁴ at 49 mm behind 29 mm, 0.81.
    cover = "depth_mm=49\nopening_mm=29\nleast_min_to_mean={}"
    head = "[grid]\ncolumns=12\nrows=8\n[chip]\npart='WS2812B'\n[wiring]\n[cover]\n"
    for wanted, count in ((0.80, 0), (0.82, 1)):
        display = parse_display(head + cover.format(wanted), Path("w.toml"))
        assert len(result_of(display).findings) == count
    # The file may also ask for less than the usual limit.
    assert len(result_of(wall("depth_mm=8\nwalls='white'")).findings) == 1
    assert result_of(wall("depth_mm=8\nwalls='white'\nleast_min_to_mean=0.3")).findings == ()


@pytest.mark.parametrize("walls", ["black", "none", "white"])
def test_what_it_advises_against_hot_spots_makes_the_cell_more_even(walls):
    display = wall(f"depth_mm=5\nwalls='{walls}'\nscatter_mm=0.5")
    (finding,) = (f for f in result_of(display).findings if "hot spots" in f.what)
    advice = {
        "further": {"depth_mm": 7.0},
        "walls white": {"walls": "white"},
        "scatters more": {"scatter_mm": 3.0},
    }
    told = [changes for word, changes in advice.items() if word in finding.remedy]
    assert told
    for changes in told:
        better = figures(with_cover(display, **changes))
        assert better.min_to_mean > figures(display).min_to_mean


def test_where_no_depth_is_even_enough_it_does_not_say_deeper():
    display = wall("depth_mm=30\nwalls='black'\nleast_min_to_mean=0.9999")
    (finding,) = (f for f in result_of(display).findings if "hot spots" in f.what)
    assert "no depth up to 80 mm gives 0.9999" in finding.what
    assert "further" not in finding.remedy
    assert finding.remedy == (
        "make the walls white, or ask for less (least_min_to_mean in [cover])."
    )
