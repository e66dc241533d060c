"""Own figures in [chip]: each loads, has a source, and is used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import CHIPS, DisplayFileError, parse_display
from emulator.canvas import current_a
from emulator.description.ownchip import ChipSection

HERE = Path("wall.toml")
OWN = {
    "volts": 4.8,
    "channel_ma": 12.5,
    "dark_ma": 0.7,
    "forward_v": [1.9, 2.9, 3.0, 2.8],
    "dropout_v": 0.3,
    "in_series": 1,  # tests/test_series.py has more
    "wavelength_nm": [630, 530, 470],
    "width_nm": [20, 36, 26],
    "intensity_mcd": [300, 600.5, 150],
    "white_mcd": 1500,
    "white_k": 3000,
    "half_angle_deg": 55,
    "emitter_mm": 0,
}


def own(part: str, **figures: object):
    lines = "".join(f"{name} = {value}\n" for name, value in figures.items())
    text = f"[grid]\ncolumns=4\nrows=3\n[chip]\npart='{part}'\n{lines}[wiring]\n"
    return parse_display(text, HERE).chip


def test_every_figure_of_the_catalogue_but_its_timing_can_be_ones_own():
    kept = {"order", "wire", "part", "sources"}
    assert set(OWN) == {f for f in CHIPS["WS2812B"].__dataclass_fields__ if f not in kept}
    assert set(OWN) <= set(ChipSection.model_fields)


@pytest.mark.parametrize("name", OWN)
def test_each_figure_alone_takes_the_place_of_the_catalogues_and_names_its_source(name):
    chip, listed = own("SK6812-RGBW", **{name: OWN[name]}), CHIPS["SK6812-RGBW"]
    value = OWN[name]
    assert getattr(chip, name) == (tuple(value) if isinstance(value, list) else value)
    assert chip.sources[name] == "the display file"
    for other in set(OWN) - {name}:
        assert getattr(chip, other) == getattr(listed, other)
        assert chip.sources[other] == listed.sources[other]


def test_all_together_and_white_takes_the_volts_of_blue_where_three_are_given():
    assert own("SK6812-RGBW", **OWN).channel_forward_v == (1.9, 2.9, 3.0, 2.8)
    three = own("SK6812-RGBW", forward_v=[2, 3, 3.1])
    assert three.channel_forward_v == (2, 3, 3.1, 3.1)
    assert own("APA102", forward_v=[2, 3, 3.1]).channel_forward_v == (2, 3, 3.1)


# By hand: 12 LEDs of 3 × 12.5 mA and 0.7 mA.
def test_currents_go_by_ones_own_figures():
    chip = own("WS2812B", channel_ma=12.5, dark_ma=0.7)
    white = np.full((12, 3), 255, np.uint8)
    assert current_a(white, chip) == pytest.approx(12 * (3 * 0.0125 + 0.0007))


@pytest.mark.parametrize(
    ("part", "figures", "key", "said"),
    [
        ("WS2812B", {"white_mcd": 1000}, "white_mcd", "no white channel"),
        ("APA102", {"white_k": 3000}, "white_k", "no white channel"),
        ("WS2812B", {"forward_v": [2, 3, 3, 3]}, "forward_v", "four voltages"),
        ("WS2812B", {"forward_v": [2, 3]}, "forward_v", "at least 3"),
        ("WS2812B", {"forward_v": [2, 3, 5]}, "forward_v", "never lights"),
        ("WS2815", {"volts": 5}, "volts", "never lights"),
        ("WS2812B", {"wavelength_nm": [470, 530, 630]}, "wavelength_nm", "not red, green, blue"),
        ("WS2812B", {"wavelength_nm": [630, 530, 900]}, "wavelength_nm", "700"),
        ("WS2812B", {"channel_ma": 0}, "channel_ma", "greater than 0"),
        ("WS2812B", {"dark_ma": "nan"}, "dark_ma", "finite"),
        ("WS2812B", {"dropout_v": 0}, "dropout_v", "0.01"),
        ("WS2812B", {"half_angle_deg": 90}, "half_angle_deg", "85"),
        ("WS2812B", {"emitter_mm": -1}, "emitter_mm", "0"),
        ("WS2812B", {"intensity_mcd": [1, 2, "true"]}, "intensity_mcd", "number"),
    ],
)
def test_figures_that_cannot_be_are_refused_by_key_and_line(part, figures, key, said):
    with pytest.raises(DisplayFileError) as caught:
        own(part, **figures)
    (problem,) = caught.value.problems
    assert problem.key == key
    assert said in problem.message
    assert problem.line == 6
    assert problem.fix
