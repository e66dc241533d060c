"""Some keys of a display file change: the rest, with its comments, must not."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from emulator import DisplayFileError, parse_display
from emulator.description.power import BusSection, FeedSection, PowerSection, SupplySection
from emulator.description.rewrite import table_text, with_figures, with_power

HERE = Path("wall.toml")
HEAD = """# My wall
about = "invented"   # for the foyer

[grid]
columns = 4
rows = 2   # two

[chip]     # bought in spring
part = "WS2812B"   # from the shop
[wiring]
"""
PLAN = PowerSection(
    supply=[SupplySection(name="left", amps=12.0)],
    bus=[BusSection(awg=14, to_first_m=0.8)],
    feed=[FeedSection(led=0, awg=20), FeedSection(led=3, bus_m=0.1), FeedSection(led=5, awg=20)],
    jumper=None,
)
INLINE = """
[power]   # all of it
supply = [{ name = "left", amps = 10 }]   # a present
feed = [
    { led = 0 },  # by the door
    # the far one
    { led = 5, awg = 20 },
]
limit_a = 9  # as agreed
jumper = { awg = 18 }
"""
TABLES = """
[[power.supply]]
name = "left"   # a present
amps = 10

[[power.feed]]  # by the door
led = 0
[power.jumper]
awg = 18
[[power.feed]]  # the far one
led = 5
awg = 20

[view]          # from the stairs
distance_m = 4
"""
FORMS = {
    "none": "",
    "empty": "\n[power]\n",
    "inline": INLINE,
    "tables": TABLES.replace("[power.jumper]\nawg = 18\n", "", 1),
    "header and tables": "\n[power]  # mine\nhours_a_day = 6\n"
    + TABLES.replace("[power.jumper]\nawg = 18\n", "", 1),
    "other sections behind": INLINE + "\n[view]  # from the stairs\ndistance_m = 4\n",
    "one line": "\npower.limit_a = 9\n",
    "without a last line end": INLINE.rstrip("\n"),
    "line ends of another system": INLINE.replace("\n", "\r\n"),
}


@pytest.mark.parametrize("form", FORMS)
def test_the_plan_is_in_and_all_else_is_as_it_was(form):
    head = HEAD.replace("\n", "\r\n") if "another system" in form else HEAD
    text = f"power.limit_a = 9\n{head}" if form == "one line" else head + FORMS[form]
    changed = with_power(text, PLAN, HERE)
    before, after = tomllib.loads(text), tomllib.loads(changed)
    power = after.pop("power")
    stated = before.pop("power", {})
    assert after == before
    assert [(f["led"], f.get("awg"), f.get("bus_m")) for f in power["feed"]] == [
        (0, 20, None), (3, None, 0.1), (5, 20, None),
    ]  # fmt: skip
    assert power["supply"] == [{"name": "left", "amps": 12}]
    assert power["bus"] == [{"awg": 14, "to_first_m": 0.8}]
    for key in set(stated) - {"supply", "feed", "bus"}:
        assert power[key] == stated[key]
    for line in text.splitlines():
        if "#" in line:
            assert line[line.index("#") :] in changed
        if "power" not in line and "led" not in line and "amps" not in line:
            assert line in changed.splitlines()


@pytest.mark.parametrize("form", FORMS)
def test_lines_end_as_those_of_the_file(form):
    text = (HEAD + FORMS[form]).replace("\r\n", "\n")
    windows = text.replace("\n", "\r\n")
    changed = with_power(text, PLAN, HERE)
    assert "\r" not in changed
    assert with_power(windows, PLAN, HERE) == changed.replace("\n", "\r\n")
    changed = with_figures(text, "chip", {"channel_ma": 15.5}, HERE)
    assert with_figures(windows, "chip", {"channel_ma": 15.5}, HERE) == changed.replace(
        "\n", "\r\n"
    )


def test_where_line_ends_are_mixed_each_line_keeps_its_own_and_new_ones_end_like_most():
    text = (HEAD + "# More of it.\n" * 9).replace("\n", "\r\n") + INLINE
    changed = with_power(text, PLAN, HERE)
    kept = [line for line in text.splitlines(keepends=True) if line in changed]
    assert {line[-2:] == "\r\n" for line in kept} == {True, False}
    new = set(changed.splitlines(keepends=True)) - set(text.splitlines(keepends=True))
    assert new
    assert all(line.endswith("\r\n") for line in new)
    assert "\r\r" not in changed


def test_the_wall_loads_with_it():
    display = parse_display(with_power(HEAD + INLINE, PLAN, HERE), HERE)
    assert [f.led for f in display.power.feed] == [0, 3, 5]
    assert display.power.limit_a == 9


def test_a_gauge_in_mm2_takes_the_place_of_one_in_awg():
    plan = PLAN.model_copy(update={"feed": [FeedSection(led=0), FeedSection(led=5, mm2=0.75)]})
    power = tomllib.loads(with_power(HEAD + INLINE, plan, HERE))["power"]
    assert power["feed"] == [{"led": 0}, {"led": 5, "mm2": 0.75}]


def test_own_figures_go_into_the_chip_and_their_comments_stay():
    changed = with_figures(HEAD, "chip", {"channel_ma": 15.5, "dark_ma": 0.7}, HERE)
    assert tomllib.loads(changed)["chip"] == {
        "part": "WS2812B", "channel_ma": 15.5, "dark_ma": 0.7,
    }  # fmt: skip
    assert [line for line in changed.splitlines() if "_ma" not in line] == HEAD.splitlines()
    again = with_figures(changed, "chip", {"channel_ma": 9.0}, HERE)
    assert again == changed.replace("15.5", "9.0")


def test_what_would_lose_something_is_refused(monkeypatch):
    monkeypatch.setattr("tomlkit.dumps", lambda document: HEAD)
    with pytest.raises(DisplayFileError, match="cannot be changed without loss"):
        with_figures(HEAD, "chip", {"channel_ma": 15.5}, HERE)


def test_a_whole_table_is_toml_whatever_stands_in_it():
    keys = {"name": 'a "b" \\ c', "few": [1, 2.5], "feed": [{"led": 0, "x": 0.1234567890123}]}
    assert tomllib.loads(table_text("t", keys)) == {"t": keys}
