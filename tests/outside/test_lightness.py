"""Transfer curves against CIE 15, IEC 61966-2-1 and colour-science."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from emulator.picture.curve import light_to_value, value_to_light

VALUES = np.linspace(0, 1, 1001)


# CIE 15: L* = 116 (Y/Yn)^(1/3) − 16. By hand, L* = 50: (66/116)^3 = 0.1841865; L* = 8 lies on
# both branches, (24/116)^3 = 0.0088565 = 216/24389; L* = 4 on the line, 4 · 27/24389.
@pytest.mark.parametrize(
    ("lightness", "luminance"),
    [(0, 0), (4, 108 / 24389), (8, 216 / 24389), (50, 0.18418651851), (100, 1)],
)
def test_lightness_has_the_values_of_the_cie(lightness, luminance):
    assert value_to_light(lightness / 100, "L*") == pytest.approx(luminance, abs=1e-9)
    assert light_to_value(luminance, "L*") == pytest.approx(lightness / 100, abs=1e-9)


# colour-science, luminance_CIE1976 and its inverse; both take Y as percent of white.
def test_lightness_is_that_of_colour_science_both_ways():
    theirs = colour.colorimetry.luminance_CIE1976(100 * VALUES) / 100
    assert value_to_light(VALUES, "L*") == pytest.approx(theirs, abs=1e-6)
    back = colour.colorimetry.lightness_CIE1976(100 * VALUES) / 100
    assert light_to_value(VALUES, "L*") == pytest.approx(back, abs=1e-6)


# IEC 61966-2-1: value 0.5 means 0.2140411 of full light; colour-science has both directions.
def test_srgb_is_that_of_the_standard_and_of_colour_science():
    assert value_to_light(0.5, "sRGB") == pytest.approx(0.2140411, abs=1e-7)
    assert light_to_value(0.2140411, "sRGB") == pytest.approx(0.5, abs=1e-7)
    assert value_to_light(VALUES, "sRGB") == pytest.approx(
        colour.models.eotf_sRGB(VALUES), abs=1e-5
    )
    assert light_to_value(VALUES, "sRGB") == pytest.approx(
        colour.models.eotf_inverse_sRGB(VALUES), abs=1e-5
    )


# Powers by hand: 0.5^2 = 1/4, 0.25^1.5 = 1/8; colour-science's gamma_function for the rest.
def test_an_exponent_is_a_plain_power():
    assert value_to_light(0.5, 2.0) == pytest.approx(0.25)
    assert value_to_light(0.25, 1.5) == pytest.approx(0.125)
    assert value_to_light(VALUES, 2.2) == pytest.approx(colour.gamma_function(VALUES, 2.2))
    assert light_to_value(VALUES, 2.2) == pytest.approx(colour.gamma_function(VALUES, 1 / 2.2))


@pytest.mark.parametrize("curve", ["sRGB", "L*", 1.0, 2.2, 4.0])
def test_a_curve_and_its_inverse_undo_each_other_and_rise(curve):
    light = value_to_light(VALUES, curve)
    assert (light[0], light[-1]) == (0, 1)
    assert (np.diff(light) > 0).all()
    assert light_to_value(light, curve) == pytest.approx(VALUES, abs=2e-6)
    assert light_to_value([1.5, -0.5], curve).tolist() == pytest.approx([1, 0])
