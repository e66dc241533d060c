"""The curve of sRGB against the standard's values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.picture.srgb import linear_to_srgb, srgb_to_linear


# IEC 61966-2-1: the two branches meet at 0.04045; 128/255 is 0.2158605 linear (worked from the
# standard's formula by hand); the sRGB value of 18 % grey is 0.4613561.
def test_srgb_curve_has_the_values_of_the_standard():
    assert srgb_to_linear([0, 1]).tolist() == [0, 1]
    assert srgb_to_linear(128 / 255) == pytest.approx(0.2158605, abs=1e-7)
    assert linear_to_srgb(0.18) == pytest.approx(0.4613561, abs=1e-6)
    assert linear_to_srgb(0.0031308) == pytest.approx(0.04045, abs=1e-6)


@given(st.floats(0, 1))
def test_srgb_curve_and_its_inverse_undo_each_other(value):
    assert srgb_to_linear(linear_to_srgb(value)) == pytest.approx(value, abs=2e-7)
