"""The distance and the light in which the wall is seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator import load_display, parse_display
from emulator.view.viewing import AMBIENTS_LX, DISTANCES_M, Viewing

BARE = "[grid]\ncolumns=2\nrows=2\n[chip]\npart='WS2812B'\n[wiring]\n"


def test_it_starts_as_the_display_file_says():
    # scenes/foyer.toml, [view]: 6 m, 200 lx.
    assert Viewing.of(load_display("foyer")) == Viewing(6.0, 200.0)


def test_where_the_file_names_no_ambient_the_room_is_dark():
    bare = parse_display(BARE + "[view]\ndistance_m = 2\n", Path("bare.toml"))
    assert Viewing.of(bare) == Viewing(2.0, 0.0)
    named = parse_display(BARE + "[view]\nambient_lx = 100\n", Path("named.toml"))
    assert Viewing.of(named).ambient_lx == 100


def test_what_is_asked_for_goes_before_the_file():
    assert Viewing.of(load_display("foyer"), 2.5, 0.0) == Viewing(2.5, 0.0)


def test_steps_go_through_the_table_from_anywhere_and_stop_at_its_ends():
    assert Viewing(5.0).moved(1).distance_m == 6.0
    assert Viewing(5.0).moved(-1).distance_m == 4.0
    assert Viewing(6.0).moved(2).distance_m == 12.0
    assert Viewing(DISTANCES_M[0]).moved(-1).distance_m == DISTANCES_M[0]
    assert Viewing(250.0).moved(1).distance_m == 250.0
    seen = [Viewing(ambient_lx=0)]
    while seen[-1].lit(1) != seen[-1]:
        seen.append(seen[-1].lit(1))
    assert [v.ambient_lx for v in seen] == list(AMBIENTS_LX)


def test_the_night_is_dark_and_a_step_of_light_ends_it_from_the_dark():
    night = Viewing(6.0, 200.0, night=True)
    assert (night.around_lx, night.light_words) == (0.0, "night")
    assert night.lit(1) == Viewing(6.0, 10.0)
    assert night.lit(-1) == Viewing(6.0, 0.0)


@pytest.mark.parametrize(
    ("viewing", "words"),
    [
        (Viewing(0.5, 0.0), ("0.5 m", "dark room", "as meant")),
        (Viewing(12.0, 100_000.0, led_colours=True), ("12 m", "100000 lx", "as the LEDs are")),
    ],
)
def test_words(viewing, words):
    assert (viewing.distance_words, viewing.light_words, viewing.colour_words) == words
