"""The explanation of colours: channel orders, channels that never light, chips of another kind."""

import numpy as np
import pytest

from emulator.description.wiring import shorthand
from emulator.errors import PictureError
from harness.explain import explain_colours
from harness.mistakes import ChannelsPermuted


def plain(columns, rows):
    return shorthand(np.zeros((rows, columns), dtype=bool))


# Colours. Light of a package by datasheet: red 390, green 660, blue 180 mcd (WS2812B, Worldsemi,
# the lower ends), so that a threshold common to all channels would lose the blue.
LIGHT = np.diag([390.0, 660.0, 180.0])


def pure(leds, order=(0, 1, 2)):
    """(3, N, 3): every LED shows each picture in its channel, permuted by `order` in the data."""
    data = ChannelsPermuted(order).apply(np.eye(3))
    return np.repeat((data @ LIGHT)[:, None, :], leds, axis=1)


@pytest.mark.parametrize(
    ("order", "sentence"),
    [
        ((1, 0, 2), "red and green swapped"),  # a GRB chip sent RGB
        ((0, 2, 1), "green and blue swapped"),
        ((2, 1, 0), "red and blue swapped"),
        # Channel red gets the data of green, green that of blue, blue that of red.
        (
            (1, 2, 0),
            "red, green and blue are rotated: red shows as blue, green shows as red, blue shows "
            "as green",
        ),
        (
            (2, 0, 1),
            "red, green and blue are rotated: red shows as green, green shows as blue, blue shows "
            "as red",
        ),
    ],
)
def test_channel_orders(order, sentence):
    (finding,) = explain_colours(plain(6, 5), pure(30, order))
    assert finding.what == sentence
    assert (finding.check, finding.where) == ("colour", "the whole wall")


def test_right_colours_and_dark_leds_give_no_finding():
    shown = pure(30)
    assert explain_colours(plain(6, 5), shown) == []
    shown[:, 4:9] = 0
    assert explain_colours(plain(6, 5), shown) == []
    assert explain_colours(plain(6, 5), shown * 0) == []


def test_some_leds_lack_blue():
    shown = pure(30)
    shown[2, 10:21] = 0
    (finding,) = explain_colours(plain(30, 1), shown)
    assert finding.what == "LEDs 10 to 20: blue never lights"
    assert finding.where == "LEDs 10 to 20"


def test_blue_lights_nowhere():
    shown = pure(30)
    shown[2] = 0
    assert [f.what for f in explain_colours(plain(6, 5), shown)] == ["blue never lights"]


def test_swapped_wall_with_exceptions():
    shown = pure(30, (1, 0, 2))
    shown[:, 25:] = pure(5)
    shown[:, 3] = pure(1, (2, 1, 0))[:, 0]
    whats = [f.what for f in explain_colours(plain(30, 1), shown)]
    assert whats == ["red and green swapped", "LED 3: red and blue swapped"]


def test_white_channel_in_the_place_of_a_colour():
    # A WRGB strip sent R G B and 0 as the white: red data drive white, green red, blue green.
    shown = np.zeros((3, 30, 3))
    shown[0] = 1.0
    shown[1, :, 0] = 1.0
    shown[2, :, 1] = 1.0
    (finding,) = explain_colours(plain(6, 5), shown, "RGBW")
    assert finding.what == "red shows as white, green shows as red, blue shows as green"
    assert "white channel" in finding.remedy


def test_three_bytes_sent_to_a_chip_of_four():
    # RGBW chips fed a stream of R G B: byte k of the stream is colour k mod 3, and LED i takes
    # bytes 4 i … 4 i + 3, the last for its white.
    shown = np.zeros((3, 24, 3))
    for picture in range(3):
        for led in range(24):
            for channel in range(4):
                if (4 * led + channel) % 3 == picture:
                    shown[picture, led, slice(3) if channel == 3 else channel] += 1.0
    (finding,) = explain_colours(plain(24, 1), np.minimum(shown, 1.0))
    assert finding.what == (
        "colours repeat every 3 LEDs: the code sends three bytes for each LED, the chip takes four"
    )


@pytest.mark.parametrize(
    ("shown", "message"),
    [(np.zeros((3, 4, 3)), "shape"), (np.full((3, 12, 3), np.nan), "not finite")],
)
def test_bad_light_is_named(shown, message):
    with pytest.raises(PictureError, match=message) as caught:
        explain_colours(plain(4, 3), shown)
    assert "Fix:" in str(caught.value)
