"""Which LED numbers are written, how large, and in which ink."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import load_display
from emulator.light.numbers import EVEN_LUMINANCE, led_numbers, wants_dark_ink


def test_large_cells_all_have_their_number():
    foyer = load_display("foyer")
    size, numbers = led_numbers(foyer, 26.7, 26.7)
    assert len(numbers) == foyer.leds == 36 * 20 - 4
    assert 9 <= size <= 22
    texts = {(n.column, n.row): n.text for n in numbers}
    # Worked by hand: serpentine, 36 a row, two lines of ten rows.
    assert (texts[0, 0], texts[35, 0], texts[35, 1], texts[0, 1]) == ("0", "35", "36", "71")
    assert (texts[0, 10], texts[33, 10]) == ("0", "31")


def test_small_cells_have_only_the_first_of_each_run():
    foyer = load_display("foyer")
    _, numbers = led_numbers(foyer, 13, 13)
    firsts = {(r.from_column, r.from_row, str(r.first)) for r in foyer.wiring.runs}
    assert {tuple(n) for n in numbers} == firsts


@pytest.mark.parametrize("cell", [0.5, 3.0, 8.0])
def test_numbers_never_run_into_each_other(cell):
    size, numbers = led_numbers(load_display("foyer"), cell, cell)
    places = [(n.column * cell, n.row * cell) for n in numbers]
    assert numbers
    for number, (x, y) in enumerate(places):
        for other_x, other_y in places[:number]:
            assert abs(x - other_x) >= 1.8 * size or abs(y - other_y) >= size


def test_ink_is_the_one_with_the_higher_contrast():
    # Contrast ratio and relative luminance as WCAG 2.2 defines them, written out here.
    colours = np.random.default_rng(7).integers(0, 256, (500, 3)).astype(np.uint8)
    value = colours / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    luminance = linear @ [0.2126, 0.7152, 0.0722]
    on_white, on_black = 1.05 / (luminance + 0.05), (luminance + 0.05) / 0.05
    assert (wants_dark_ink(colours) == (on_black > on_white)).all()
    even = EVEN_LUMINANCE + 0.05
    assert even / 0.05 == pytest.approx(1.05 / even)
    # So no ground, whatever its colour, gives less than 4.5:1 (WCAG 2.2, 1.4.3).
    assert np.maximum(on_white, on_black).min() > 4.5
