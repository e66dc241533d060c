"""LEDs by number: it sends what you set, like a plain list of the LEDs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, FrameError, Leds, load_display, open_output, parse_display
from emulator.leds import LedNumberError
from tests.strategies import displays

WALL = """
[grid]
columns = 3
rows = 2
[chip]
part = "{part}"
[wiring]
start = "top-left"
along = "rows"
path = "progressive"
lines = 2
"""


def wall(part="WS2812B"):
    return parse_display(WALL.format(part=part), Path("wall.toml"))


def test_numbers_count_in_the_order_of_the_data():
    bench = Bench(load_display("foyer"))
    bench.leds[17] = 255, 120, 0
    bench.leds.send()
    assert np.flatnonzero(bench.drives.any(axis=1)).tolist() == [17]
    assert bench.drives[17].tolist() == [255, 120, 0]


def test_the_wire_gets_the_order_of_the_chip():
    # WS2812B datasheet, 'composition of 24bit data': G7 … G0, R7 … R0, B7 … B0.
    caught = []

    class Wire:
        def send_frame(self, data, /):
            caught.extend(line.tolist() for line in data)

    leds = Leds(wall(), Wire())
    leds[0] = 1, 2, 3
    leds.line(1)[2] = 4, 5, 6
    leds.send()
    assert caught == [[2, 1, 3, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 5, 4, 6]]


def test_any_output_takes_them():
    display = wall()
    with open_output("memory:", display) as out:
        leds = Leds(display, out)
        leds[-1] = 9, 8, 7
        assert leds.send().bytes_over == 0
        assert out.bench.drives[-1].tolist() == [9, 8, 7]


def test_a_line_counts_from_its_own_beginning_and_shares_what_is_set():
    leds = Bench(wall()).leds
    leds.line(1)[0] = 255
    assert leds[3] == (255, 255, 255)
    assert len(leds.line(1)) == 3
    with pytest.raises(LedNumberError, match="has no line 2: it has lines 0 to 1"):
        leds.line(2)
    with pytest.raises(LedNumberError, match="no LED 3: there are 3"):
        leds.line(1)[3] = 0


@pytest.mark.parametrize(
    ("part", "single", "three"),
    [
        ("WS2812B", (7, 7, 7), (1, 2, 3)),
        ("SK6812-RGBW", (7, 7, 7, 7), (1, 2, 3, 0)),
        ("APA102", (7, 7, 7, 31), (1, 2, 3, 31)),
    ],
)
def test_one_number_and_three(part, single, three):
    leds = Bench(wall(part)).leds
    leds[:] = 7
    assert leds[0] == leds[5] == single
    leds[1:3] = 1, 2, 3
    assert leds[2] == three
    assert leds[3] == single


def test_four_values_set_the_fourth_channel():
    for part, fourth in (("SK6812-RGBW", 200), ("APA102", 11)):
        leds = Bench(wall(part)).leds
        leds[4] = 1, 2, 3, fourth
        assert leds[4] == (1, 2, 3, fourth)


@given(displays(), st.data())
def test_it_follows_a_list_of_the_same_length(display, data):
    leds = Bench(display).leds
    twin = [[0, 0, 0] for _ in range(display.leds)]
    places = st.slices(display.leds) | st.integers(-display.leds, display.leds - 1)
    for place in data.draw(st.lists(places, max_size=5)):
        value = data.draw(st.lists(st.integers(0, 255), min_size=3, max_size=3))
        leds[place] = value
        for number in [place] if isinstance(place, int) else range(*place.indices(display.leds)):
            twin[number] = value
    assert [list(led[:3]) for led in leds] == twin
    assert len(leds) == len(twin)
    assert leds[::-1][:, :3].tolist() == twin[::-1]


def test_an_array_fills_a_slice():
    leds = Bench(wall()).leds
    leds[1:5:2] = np.arange(6).reshape(2, 3)
    assert leds[1] == (0, 1, 2)
    assert leds[3] == (3, 4, 5)
    assert (3, 4, 5) in leds
    assert leds.index((3, 4, 5)) == 3


@pytest.mark.parametrize("kind", [bytes, bytearray, list, np.array])
def test_any_sequence_of_whole_numbers_sets_an_led(kind):
    leds = Bench(wall()).leds
    leds[2] = kind([7, 8, 9])
    assert leds[2] == (7, 8, 9)


@pytest.mark.parametrize(
    ("place", "value", "words"),
    [
        (slice(None), 0.5, r"for LEDs \[:\]"),
        (slice(4, None, -2), 256, r"a drive of 256 for LEDs \[4::-2\]"),
        (0, (256, 0, 0), "a drive of 256"),
        (0, (0, -1, 0), "a drive of -1"),
        (0, (0.5, 0, 0), "of kind float"),
        (0, "red", "whole numbers"),
        (0, (1, 2), "shape"),
        (0, [[1, 2, 3]], "shape"),
        (slice(0, 3), [[1, 2, 3], [1, 2, 3]], "shape"),
        (slice(0, 2), [[1, 2, 3], [1, 2]], "whole numbers"),
        (0, np.array([True, False, True]), "whole numbers"),
        (6, 0, "no LED 6: there are 6"),
        (-7, 0, "LED -7"),
        ("a", 0, "LED a"),
    ],
)
def test_what_does_not_fit_is_told_and_nothing_is_set(place, value, words):
    leds = Bench(wall()).leds
    leds[:] = 5
    with pytest.raises((FrameError, LedNumberError), match=words):
        leds[place] = value
    assert set(leds) == {(5, 5, 5)}


def test_an_intensity_has_five_bits():
    leds = Bench(wall("APA102")).leds
    with pytest.raises(FrameError, match="5 bits"):
        leds[0] = 0, 0, 0, 32


def test_what_is_read_cannot_be_written():
    leds = Bench(wall()).leds
    with pytest.raises(ValueError, match="read-only"):
        leds[0:2][:, 0] = 9
    with pytest.raises(ValueError, match="read-only"):
        leds.drives[0] = 9
