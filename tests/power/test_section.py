"""The [power] section: what is filled in, and what is refused, with its place."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import DisplayFileError, ForeglowError, load_display, parse_display
from emulator.description.feeding import complete_power, full_white_a
from emulator.description.power import (
    BusSection,
    FeedSection,
    JumperSection,
    PowerSection,
    SupplySection,
)
from emulator.power.network import build_network
from tests.power.walls import wall


def complete(display):
    return complete_power(display.power, display.chip, display.wiring, display.placement)


def problems(power: str, columns: int = 4, rows: int = 3) -> tuple:
    with pytest.raises(DisplayFileError) as caught:
        wall(columns, rows, power)
    assert all(p.fix for p in caught.value.problems)
    return caught.value.problems


def test_with_nothing_said_one_supply_feeds_every_run_at_one_side_along_a_bus():
    display = dataclasses.replace(load_display("foyer"), power=PowerSection())
    power = complete(display)
    (supply,) = power.supply
    assert supply.volts == 5.0
    # Common practice, no source: 60 mA an LED at full white, 1 mA dark, a supply loaded to 80 %.
    assert supply.amps == math.ceil(716 * 0.061 / 0.8)
    # Rows 0 and 1 of 36: LEDs 0 to 35 from the left, 36 to 71 back to it; and so on.
    assert [f.led for f in power.feed][:4] == [0, 71, 72, 143]
    assert len(power.feed) == len(display.wiring.runs)
    assert all(f.bus_m is None for f in power.feed[:1])
    rows = [display.wiring.row[display.wiring.line_starts[f.line] + f.led] for f in power.feed]
    apart = np.abs(np.diff(rows)) * 0.033333
    assert [f.bus_m for f in power.feed[1:]] == pytest.approx(np.maximum(apart, 0.01))
    # Behind the speaker, at column 19 of rows 9 and 10, the wire reaches in from the left: 19
    # columns, and round the speaker, half a row and 5 mm up and down again.
    round_it_m = 2 * (0.033333 / 2 + 0.005)
    reach_m = 0.1 + 19 * 0.033333 + round_it_m
    assert max(f.length_m for f in power.feed) == pytest.approx(reach_m, abs=0.01)
    assert power.jumper is None


def test_runs_and_amps_are_shared_out_among_supplies():
    power = complete(wall(24, 24, "[[power.supply]]\n[[power.supply]]\n"))
    assert [f.supply for f in power.feed] == [0] * 12 + [1] * 12
    assert [s.amps for s in power.supply] == [math.ceil(576 * 0.061 / 0.8 / 2)] * 2
    assert [b.supply for b in power.bus] == [0, 1]


def test_a_bus_reaches_from_row_to_row_where_rows_lie_further_apart_than_leds():
    text = "[grid]\ncolumns=3\nrows=3\npitch_mm=10\nrow_pitch_mm=80\n[chip]\npart='WS2812B'\n"
    display = parse_display(text + "[wiring]\n", Path("wall.toml"))
    assert [f.bus_m for f in complete(display).feed] == [
        None, pytest.approx(0.08), pytest.approx(0.08)
    ]  # fmt: skip


def test_what_is_said_stays():
    text = "[power]\nfeed=[{led=2,mm2=1.5}]\njumper={length_m=1}\n[[power.supply]]\nvolts=4.8\n"
    power = complete(wall(4, 3, text))
    assert power.feed[0].gauge == ("mm2", 1.5)
    assert power.feed[0].length_m == 0.1
    assert power.supply[0].volts == 4.8
    assert power.bus == []
    assert power.jumper is not None
    assert power.jumper.gauge == ("awg", 18)


def test_a_common_intensity_is_no_fourth_channel():
    assert full_white_a(load_display("sign").chip, 100) == pytest.approx(6.1)
    assert full_white_a(load_display("banner").chip, 100) == pytest.approx(8.1)


@pytest.mark.parametrize(
    ("power", "key", "said"),
    [
        ("[power]\nfeed=[{led=12}]\njumper={}\n", "led", "line 0 has no LED 12"),
        ("[power]\nfeed=[{line=1,led=0}]\njumper={}\n", "line", "there is no line 1"),
        ("[power]\nfeed=[{led=0,supply=1}]\njumper={}\n", "supply", "there is no supply 1"),
        ("[[power.bus]]\nsupply=2\n", "supply", "there is no supply 2"),
        ("[[power.bus]]\n[[power.bus]]\n", "supply", "supply 0 has two buses"),
        ("[[power.supply]]\nvolts=12\n", "volts", "a supply of 12 V for WS2812B, a chip of 5 V"),
        ("[[power.supply]]\nvolts=-5\n", "volts", "greater than 0"),
        ("[[power.supply]]\namps=0\n", "amps", "greater than 0"),
        ("[[power.supply]]\namps=inf\n", "amps", "finite number"),
        ("[[power.supply]]\noverload='trop'\n", "overload", "did you mean 'trip'"),
        ("[power]\nlimit_a=0.01\n", "limit_a", "the dark LEDs alone take 0.01 A"),
        ("[power]\nfeed=[{led=0,awg=41}]\njumper={}\n", "awg", "less than or equal to 40"),
        ("[power]\nfeed=[{led=0,awg=-4}]\njumper={}\n", "awg", "greater than or equal to -3"),
        ("[power]\nfeed=[{led=0,length_m=0}]\njumper={}\n", "length_m", "greater than 0"),
        ("[power]\ncopper_c=400\n", "copper_c", "less than or equal to 105"),
        ("[power]\nhours_a_day=25\n", "hours_a_day", "less than or equal to 24"),
        ("[power]\nprice_per_kwh=-1\n", "price_per_kwh", "greater than or equal to 0"),
        ("[power]\nrail_ohm_per_m=nan\n", "rail_ohm_per_m", "finite number"),
    ],
)
def test_what_cannot_be_built_is_refused_by_key(power, key, said):
    (problem,) = problems(power)
    assert problem.key == key
    assert said in problem.message.lower() or said in problem.message
    assert problem.line is not None


def test_a_wire_has_one_gauge():
    (problem,) = problems("[power.jumper]\nawg=18\nmm2=0.75\n")
    assert "keep one" in problem.fix


def test_an_unfed_island_is_named():
    two = problems("[power]\nfeed=[{led=0}]\n")
    assert [p.message for p in two] == [
        "run 1 (line 0, LEDs 4 to 7) has no path to a supply",
        "run 2 (line 0, LEDs 8 to 11) has no path to a supply",
    ]
    assert "led = 4" in two[0].fix
    assert "[power.jumper]" in two[0].fix


def test_a_line_without_a_feed_is_an_island_even_with_jumpers():
    text = (
        "[grid]\ncolumns=4\nrows=4\n[chip]\npart='WS2812B'\n[wiring]\nlines=2\n"
        "[power]\nfeed=[{line=1,led=0}]\njumper={}\n"
    )
    with pytest.raises(DisplayFileError, match="and the 1 after it has no path") as caught:
        parse_display(text, Path("w.toml"))
    assert len(caught.value.problems) == 1


def test_all_faults_of_the_section_are_told_at_once_with_their_lines():
    text = "[power]\njumper={}\n[[power.feed]]\nled=99\n[[power.feed]]\nled=0\nsupply=7\n"
    first, second = problems(text)
    assert (first.key, second.key) == ("led", "supply")
    assert second.line - first.line == 3
    assert first.table == "[[power.feed]] number 1"


def test_an_unknown_key_is_refused_with_its_near_miss():
    (problem,) = problems("[power]\nfeeds=[{led=0}]\n")
    assert "Did you mean 'feed'?" in problem.excerpt


SECTIONS = (PowerSection, SupplySection, FeedSection, BusSection, JumperSection)
keys = st.sampled_from(sorted({name for section in SECTIONS for name in section.model_fields}))
values = st.one_of(
    st.integers(-3, 30), st.floats(allow_nan=True), st.sampled_from(["'trip'", "true", "[]", "{}"])
)
tables = st.sampled_from(
    ["[power]", "[[power.feed]]", "[[power.bus]]", "[[power.supply]]", "[power.jumper]"]
)


@given(st.lists(st.tuples(tables, st.dictionaries(keys, values, max_size=3)), max_size=4))
def test_any_section_gives_a_network_or_a_clear_error(parts):
    text = "".join(
        f"{table}\n" + "".join(f"{k} = {v}\n" for k, v in entries.items())
        for table, entries in parts
    )
    try:
        network = build_network(wall(3, 2, text))
    except ForeglowError as error:
        assert "Fix:" in str(error)
    else:
        assert (network.ohm > 0).all()


def test_two_supplies_of_one_name_are_refused():
    power = "[power]\nsupply=[{name='PSU'}, {name='PSU'}]\nfeed=[{led=0}]\njumper={awg=18}\n"
    (problem,) = problems(power)
    assert "two supplies are called 'PSU'" in problem.message


def test_a_bus_that_does_not_say_how_far_goes_along_the_sides_and_round_corners():
    # 4 × 3 cells, 33.3 mm apart: from the top left to the bottom right corner 3 and 2 pitches; to
    # the LED in the middle of the right side one back; to the top right one more. The bus runs 40
    # mm outside the LEDs: out to each of two corners and back in.
    power = "[power]\njumper={}\nfeed=[{led=0},{led=11},{led=4},{led=3,bus_m=2}]\nbus=[{}]\n"
    pitch = 1 / 30
    assert [f.bus_m for f in complete(wall(4, 3, power)).feed] == [
        None, pytest.approx(5 * pitch + 4 * 0.04), pytest.approx(pitch), 2,
    ]  # fmt: skip
    stated = power.replace("bus=[{}]", "bus=[{between_m=0.5}]")
    assert [f.bus_m for f in complete(wall(4, 3, stated)).feed] == [None, 0.5, 0.5, 2]
