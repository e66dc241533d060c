"""The figures of a chip from the current of a piece of strip."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import CHIPS, ForeglowError, load_display
from emulator.canvas import current_a
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from harness.power.measured import Measurement, measured_figures, read_measurement
from tests.power.walls import wall


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("60 LEDs 2.9 A", Measurement(60, 2.9)),
        ("60 leds, 2,9A", Measurement(60, 2.9)),
        ("1 LED 45 mA at full white", Measurement(1, 0.045)),
        ("2900mA 60LEDs", Measurement(60, 2.9)),
        ("60 LEDs took 0.06 A dark", Measurement(60, 0.06, "dark")),
        ("144 LEDs 1.1 A red 4.9 V", Measurement(144, 1.1, "red", 4.9)),
        ("30 LEDs at 12 V take 0.5 A, all off", Measurement(30, 0.5, "dark", 12)),
    ],
)
def test_a_measurement_is_read_as_one_says_it(text, found):
    assert read_measurement(text) == found


@pytest.mark.parametrize(
    "text",
    ["", "2.9 A", "60 LEDs", "60 LEDs 2.9 W", "60 LEDs 2.9 A pink", "0 LEDs 1 A", "60 LEDs 0 A",
     "60 LEDs 2.9 A 0 V", "99999 LEDs 1 A", "60 LEDs 60 LEDs 2.9 A", "-60 LEDs 2.9 A"],
)  # fmt: skip
def test_what_is_no_measurement_is_refused_with_the_form(text):
    with pytest.raises(ForeglowError, match="Fix"):
        read_measurement(text)


def test_the_figures_of_a_metre_of_strip_by_hand():
    # 2.9 A / 60 = 48.33 mA an LED; less 1 mA in the dark, over three channels: 15.778 mA.
    found = measured_figures(wall(6, 6), [read_measurement("60 LEDs 2.9 A")])
    assert found.figures == {"channel_ma": pytest.approx(47.3333 / 3, abs=1e-3)}
    assert any("1 mA an LED in the dark" in words for words in found.assumed)
    both = [read_measurement(t) for t in ("60 LEDs 2.9 A", "60 LEDs 0.03 A dark")]
    found = measured_figures(wall(6, 6), both)
    assert found.figures == {"dark_ma": 0.5, "channel_ma": pytest.approx(47.8333 / 3, abs=1e-3)}
    assert found.taken_a == pytest.approx((2.9, 0.03), rel=1e-4)


def test_a_single_colour_stands_for_the_others_and_rgbw_white_has_four_channels():
    red = measured_figures(wall(3, 3), [read_measurement("100 LEDs 1.3 A red")])
    assert red.figures["channel_ma"] == pytest.approx(12)
    rgbw = wall(3, 3, part="SK6812-RGBW")
    assert measured_figures(rgbw, [Measurement(10, 0.49)]).figures["channel_ma"] == 12
    assert measured_figures(rgbw, [Measurement(10, 0.13, "w")]).figures["channel_ma"] == 12
    with pytest.raises(ForeglowError, match="no channel w"):
        measured_figures(wall(3, 3), [Measurement(10, 0.13, "w")])


@pytest.mark.slow
@given(
    st.sampled_from(sorted(CHIPS)), st.integers(1, 150), st.floats(2, 40), st.floats(0, 2),
    st.sampled_from(["white", "red", "green", "blue"]), st.booleans(),
)  # fmt: skip
def test_the_lines_reproduce_what_was_measured(part, leds, channel_ma, dark_ma, colour, dark_too):
    """A strip with figures of its own is measured with our network, and the figures come back."""
    true = dataclasses.replace(
        CHIPS[part], channel_ma=round(channel_ma, 2), dark_ma=round(dark_ma, 2)
    )
    power = "[power]\nfeed=[{led=0,mm2=100,length_m=0.001,connector_mohm=0}]\n"
    strip = dataclasses.replace(wall(leds, 1, power, part), chip=true)
    channels = [255 * (colour == "white" or c == colour[0].upper()) for c in true.channels]
    if "I" in true.channels:
        channels[3] = 31
    drives = np.tile(np.array(channels, np.uint8), (1, leds, 1))
    network = build_network(strip)
    amps = float(solve_rails(network, drives, true, np.inf).total_current_a[0])
    measurements = [Measurement(leds, amps, colour)]
    if dark_too and true.dark_ma:
        dark = solve_rails(network, drives * 0, true, np.inf).total_current_a[0]
        measurements.append(Measurement(leds, float(dark), "dark"))
    listed = strip if len(measurements) > 1 else dataclasses.replace(
        strip, chip=dataclasses.replace(CHIPS[part], dark_ma=true.dark_ma)
    )  # fmt: skip
    try:
        found = measured_figures(listed, measurements)
    except ForeglowError as error:
        # Only if the far end starves, so that constant currents would be twice the real current.
        assert "starve" in str(error)
        assert amps < 0.55 * float(current_a(drives, true)[0])
        return
    assert found.taken_a[0] == pytest.approx(amps, rel=2e-3)
    if amps > 0.95 * float(current_a(drives, true)[0]):
        assert found.figures["channel_ma"] == pytest.approx(true.channel_ma, rel=5e-3, abs=0.05)


def test_more_than_the_strip_can_carry_is_refused():
    with pytest.raises(ForeglowError, match="far ones"):
        measured_figures(load_display("foyer"), [Measurement(600, 34)])
    with pytest.raises(ForeglowError, match="no more than"):
        measured_figures(load_display("foyer"), [Measurement(60, 0.05)])
