from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from emulator import load_display
from emulator.power.wire import CAUTION
from harness.power import assess
from tests.tables import telling

WALL = "[grid]\ncolumns=24\nrows=24\n[chip]\npart='WS2812B'\n[wiring]\n"
SERIES = (
    WALL.replace("24", "12")
    + "[power]\nfeed=[{led=0}]\njumper={awg=18, length_m=0.1}\nsupply=[{amps=7.5}]\n"
)


def left_behind() -> list[str]:
    return sorted(str(p) for p in Path().rglob("*") if p.is_file())


@pytest.mark.charts
def test_the_report_of_a_demo(foreglow):
    status, out, err = foreglow("power", "foyer")
    assert (status, err) == (0, "")
    for heading in ("Current", "Supplies", "Lowest voltage", "Wires", "Energy and heat"):
        assert f"\n{heading}" in out
    assert "43.68" in out  # 716 × 61 mA at full white
    assert "Findings" not in out
    assert " ".join(out.split()).count(CAUTION) == 1
    # Long tables are cut, and say so; wires, though, are all there, identical ones in one row.
    assert "10 of 22 runs, lowest voltage first; all in --json" in out
    assert "12 ×  feed" in out
    assert "10 ×  bus, feed to feed" in out
    with Image.open("foreglow-out/foyer-power.png") as image:
        assert image.size[0] > 1000


@pytest.mark.parametrize("name", telling(["foyer", "banner", "sign"], lambda name: name == "sign"))
def test_the_report_fits_80_columns(foreglow, name):
    _, out, _ = foreglow("power", name, "clock", "--plan", 4.6, "--seconds", 2)
    assert max(map(len, out.splitlines())) <= 80
    assert "safe" not in out.lower()


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
    assert "✗ LED 143 of line 0 gets" in flat
    assert "→ limit to 6 A (68% of full white): load of supply 0 117% → 80%" in flat
    assert "the wires let through" in flat
    assert flat.count(CAUTION) == 1
    status, out, _ = foreglow("power", "series", "--json")
    assert (status, json.loads(out)["verdict"]) == (1, "fail")


def test_a_display_that_says_nothing_of_power_is_told_what_is_assumed(foreglow):
    Path("wall.toml").write_text(WALL.replace("24", "6"))
    status, out, _ = foreglow("power", "wall")
    assert status == 0
    assert "No [power] section: foreglow assumes supply, feeds and bus." in out


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
    assert "before  2.98 V at LED 143 of line 0" in out
    toml = out.split("For the display file:\n")[1].split("\n\n")[0]
    Path("planned.toml").write_text(SERIES.split("[power]")[0] + toml)
    planned = assess(load_display("planned"))
    assert planned.lowest.volts >= 4.5
    assert planned.supplies[0].share <= 0.8
    assert foreglow("power", "planned")[0] == 0


def test_long_lists_say_what_repeats(foreglow):
    """Twelve lines alike, each with a supply and four feeds."""
    supplies = "{ volts = 5, amps = 5 }, " * 12
    feeds = "".join(
        f"{{ line = {line}, led = {led}, supply = {line}, awg = 16 }},\n"
        for line in range(12)
        for led in (0, 4, 8, 12)
    )
    Path("wall.toml").write_text(
        "[grid]\ncolumns = 16\nrows = 12\n[chip]\npart = 'WS2812B'\n[wiring]\nlines = 12\n"
        "[controller]\nlogic_volts = 3.3\n"
        f"[power]\nsupply = [{supplies}]\nfeed = [\n{feeds}]\n"
    )
    _, out, _ = foreglow("power", "wall", "--plan", 4.5)
    flat = " ".join(out.split())
    assert "12 × supply { volts = 5.0, amps = 5.0 }" in flat
    assert "lines 0 to 11: feed { awg = 16 } at LEDs 0, 4, 8 and 12" in flat
    assert "65 lines for the display file: --write new.toml writes it with them" in flat
    assert flat.count("3.3 V logic is too low") == 1
    assert "where line 0, line 1, line 2, line 3, line 4, line 5 … (12 in all)" in flat


@pytest.mark.slow
def test_a_plan_is_for_the_load_asked_or_for_what_the_limit_allows(foreglow):
    Path("shop.toml").write_text(SHOP)

    def level(*more):
        return json.loads(foreglow("power", "shop", "--plan", 4.5, "--json", *more)[1])["plan"]

    plan = level()
    assert plan["level"] is None  # the worst pictures that the limit of 4 A allows
    assert plan["caution"] == CAUTION
    assert level("--level", 0.3)["level"] == 0.3


@pytest.mark.slow
@pytest.mark.charts
def test_the_plot_goes_where_it_is_asked_to(foreglow):
    Path("a").mkdir()
    foreglow("power", "sign", "--plot", "a/b.svg")
    assert left_behind() == ["a/b.svg"]
    assert "<svg" in Path("a/b.svg").read_text()


@pytest.mark.slow
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
        ("power", "foyer", "--write", "new.toml"),
        ("power", "foyer", "--hours", "25"),
        ("power", "foyer", "--price", "-1"),
        ("power", "foyer", "--measured", "60 LEDs"),
        ("power", "foyer", "--measured", "60 LEDs 2.9 A", "--plan", "4.5"),
        ("power", "foyer", "--measured", "600 LEDs 34 A", "--write", "new.toml"),
        ("power", "sign", "--measured", "60 LEDs 1 A", "--write", "/proc/nowhere/new.toml"),
    ],
)
def test_bad_input_exits_2_with_words_and_leaves_nothing(foreglow, words):
    status, out, err = foreglow(*words)
    assert status == 2
    assert err.strip()
    assert "Traceback" not in out + err
    assert left_behind() == []


SHOP = (
    "# Mine\n[grid]\ncolumns=12\nrows=6\n[chip]\npart='WS2812B'  # from the shop\n[wiring]\n"
    "[power]  # as built\nsupply=[{name='left', amps=10}]  # a present\nlimit_a=4\n"
    "jumper={awg=18}\nfeed=[{led=0, mm2=0.75}]\nbus=[{mm2=4}]\n"
)


def test_the_plan_is_written_into_a_copy_of_the_file_and_nothing_else_changes(foreglow):
    Path("shop.toml").write_text(SHOP)
    _, out, _ = foreglow("power", "shop", "--plan", 4.7, "--write", "new.toml")
    assert "Wrote new.toml" in out
    assert Path("shop.toml").read_text() == SHOP
    text = Path("new.toml").read_text()
    for words in ("# Mine", "# from the shop", "# as built", "# a present"):
        assert words in text
    found = assess(load_display("new"))
    assert found.lowest.volts >= 4.7
    power = load_display("new").power
    assert (power.limit_a, power.jumper.awg, power.bus[0].mm2) == (4, 18, 4)
    assert {feed.mm2 for feed in power.feed} == {0.75}
    assert power.supply == load_display("shop").power.supply
    assert foreglow("power", "new")[0] == 0


@pytest.mark.slow
def test_no_file_is_written_over_unless_asked_and_never_the_one_read(foreglow):
    Path("shop.toml").write_text(SHOP)
    Path("new.toml").write_text("# Made by foreglow, and precious")
    asked = ("power", "shop", "--plan", 4.5, "--write")
    status, _, err = foreglow(*asked, "new.toml")
    assert status == 2
    assert "left as it is" in err
    assert Path("new.toml").read_text() == "# Made by foreglow, and precious"
    assert foreglow(*asked, "new.toml", "--force")[0] == 0
    assert load_display("new").power.limit_a == 4
    status, _, err = foreglow(*asked, "./shop.toml", "--force")
    assert status == 2
    assert "is the source of this result" in err
    assert Path("shop.toml").read_text() == SHOP


def test_a_copy_that_would_not_find_its_map_is_not_written(foreglow):
    Path("m.toml").write_text(SHOP.split("[wiring]")[0].replace("rows=6", "rows=1")
                              + "[wiring]\nmap='map.csv'\n")  # fmt: skip
    cells = "".join(f"0,{n},{n},0\n" for n in range(12))
    Path("map.csv").write_text(f"line,led,column,row\n{cells}")
    status, _, err = foreglow("power", "m", "--plan", 4.5, "--write", "sub/new.toml")
    assert status == 2
    assert "would not find the map" in err
    assert not Path("sub").exists()
    assert foreglow("power", "m", "--plan", 4.5, "--write", "new.toml")[0] == 0


@pytest.mark.slow
def test_a_plan_that_cannot_be_had_says_why_and_is_not_written(foreglow):
    Path("shop.toml").write_text(SHOP.replace("mm2=4", "awg=30"))
    status, out, _ = foreglow("power", "shop", "--plan", 4.999, "--write", "new.toml")
    assert status == 1
    assert "No plan was found" in out
    assert "For the display file" not in out
    assert "new.toml is not written" in " ".join(out.split())
    assert not Path("new.toml").exists()


def test_what_was_measured_becomes_lines_that_load_and_give_it(foreglow):
    Path("shop.toml").write_text(SHOP)
    asked = ("power", "shop", "--measured", "60 LEDs 2.9 A", "--measured", "60 LEDs 0.03 A dark")
    status, out, _ = foreglow(*asked, "--write", "new.toml")
    assert status == 0
    for wall in ("new", "pasted"):
        if wall == "pasted":
            lines = "[chip]\n" + out.split("[chip]\n")[1].split("Wrote")[0]
            head, rest = SHOP.split("[chip]")
            Path("pasted.toml").write_text(f"{head}{lines}[wiring]{rest.split('[wiring]')[1]}")
        chip = load_display(wall).chip
        assert chip.dark_ma == 0.5
        # By hand: 60 × (3 × channel + 0.5 mA) = 2.9 A.
        assert 60 * (3 * chip.channel_ma + chip.dark_ma) == pytest.approx(2900, rel=1e-4)
    assert "# from the shop" in Path("new.toml").read_text()
    found = json.loads(foreglow(*asked, "--json")[1])
    assert found["figures"]["dark_ma"] == 0.5
    assert found["measured"][0]["by_the_figures_a"] == pytest.approx(2.9, rel=1e-4)


def test_a_scene_has_watts_energy_cost_and_warmth_of_its_own(foreglow):
    Path("plain.py").write_text(
        "import numpy as np\n\n\ndef picture(time_s, display):\n"
        "    return np.full(display.picture_shape, 255, np.uint8)\n"
    )
    Path("wall.toml").write_text(WALL.replace("24", "10"))
    asked = ("power", "wall", "plain.py", "--seconds", 2, "--hours", 10, "--price", 0.5)
    found = json.loads(foreglow(*asked, "--json")[1])
    # By hand: 100 LEDs × 61 mA × 5 V = 30.5 W; 10 h and 0.5 a kWh.
    assert found["typical_of"] == ["scene plain.py"]
    assert found["energy"]["typical_w"] == pytest.approx(30.5, rel=1e-4)
    assert found["energy"]["kwh_a_day"] == pytest.approx(0.305, rel=1e-4)
    assert found["energy"]["cost_a_day"] == pytest.approx(0.1525, rel=1e-4)
    heat = 30.5 / (10 / 30) ** 2  # ISO 6946 (from memory): 0.13 m²K/W before the covers
    assert found["rise_k"]["the scene"]["cover_closed_k"] == pytest.approx(0.13 * heat, rel=1e-3)
    _, out, _ = foreglow(*asked)
    assert "scene plain.py: 30.5 W" in out
    assert "Assumed: after hours" in out
