"""What a mistake does to a picture and to a map, against tables worked by hand.

The wall is 3 × 2 cells, numbered row by row: 0 1 2 / 3 4 5.
"""

from __future__ import annotations

import numpy as np
import pytest

from harness.mutate.change import BLACK, WHITE, Change, cells_of

MIRRORED = Change(source=(2, 1, 0, 5, 4, 3))
LEFT_DARK = Change(source=(BLACK, 1, 2, WHITE, 4, 5))
NUMBERS = np.arange(18, dtype=np.uint8).reshape(2, 3, 3)


def changed(change, picture, curve=2.0):
    return change.of_pictures(curve, 30.0)(picture)


def test_a_mistake_in_the_map_moves_the_cells_of_a_picture():
    assert np.array_equal(changed(MIRRORED, NUMBERS), NUMBERS[:, ::-1])
    shown = changed(LEFT_DARK, NUMBERS)
    assert shown[0, 0].tolist() == [0, 0, 0]
    assert shown[1, 0].tolist() == [255, 255, 255]
    assert np.array_equal(shown[:, 1:], NUMBERS[:, 1:])
    assert changed(LEFT_DARK, NUMBERS / 17)[1, 0].tolist() == [1, 1, 1]  # float light


def test_the_picture_that_was_given_stays():
    before = NUMBERS.copy()
    for change in (LEFT_DARK, Change(levels="inverted"), Change(moment="torn")):
        changed(change, NUMBERS)
    assert np.array_equal(NUMBERS, before)


def test_levels_of_bytes_and_of_light():
    picture = np.full((2, 3, 3), 51, np.uint8)  # 0.2 of 255
    # v² twice: 0.2² · 255 = 10.2, rounded.
    assert (changed(Change(levels="curve twice"), picture) == 10).all()
    # As light: 0.2² = 0.04 is shown as 0.04² = 0.0016.
    light = changed(Change(levels="curve twice"), np.full((2, 3, 3), 0.04))
    assert np.allclose(light, 0.0016)
    assert (changed(Change(levels="levels doubled"), picture + 100) == 255).all()
    assert (changed(Change(levels="overflow of levels"), picture + 180) == 277 - 256).all()
    assert changed(Change(channels=(1, 0, 2)), NUMBERS)[0, 0].tolist() == [1, 0, 2]


@pytest.mark.parametrize(
    ("moment", "shown"),  # of the pictures 10, 20 … 60: the upper row, the lower row
    [
        ("one late", ([0, 10, 20, 30, 40, 50],) * 2),
        ("every second", ([10, 10, 30, 30, 50, 50],) * 2),
        ("flicker", ([10, 20, 30, 40, 0, 60],) * 2),
        ("torn", ([10, 20, 30, 40, 50, 60], [0, 10, 20, 30, 40, 50])),
        ("trail", ([8, 18, 28, 38, 48, 58],) * 2),  # 0.75 · 10 = 7.5, 0.75 · 20 + 2.5 = 17.5 …
    ],
)
def test_mistakes_in_time(moment, shown):
    wrong = Change(moment=moment).of_pictures("sRGB", 30.0)
    pictures = [wrong(np.full((2, 3, 3), level, np.uint8)) for level in range(10, 70, 10)]
    assert tuple([int(p[row, 0, 0]) for p in pictures] for row in (0, 1)) == shown


def test_every_tenth_picture_is_slow(monkeypatch):
    slept = []
    monkeypatch.setattr("time.sleep", slept.append)
    wrong = Change(moment="slow").of_pictures("sRGB", 30.0)
    for _ in range(25):
        wrong(NUMBERS)
    assert slept == [1.5 / 30, 1.5 / 30]


@pytest.mark.parametrize(
    ("given", "mirrored"),
    [
        ([0, 1, 2, 5, 4, 3], [2, 1, 0, 3, 4, 5]),
        ((0, 1, 2), (2, 1, 0)),
        ([(0, 0), (1, 0), (2, 1)], [(2, 0), (1, 0), (0, 1)]),
        ([[0, 0], [-1, -1]], [[2, 0], [-1, -1]]),
        ([-1, 0, 3], [-1, 2, 5]),
    ],
)
def test_a_map_keeps_its_form(given, mirrored):
    assert MIRRORED.of_map(given, columns=3) == mirrored
    array = MIRRORED.of_map(np.array(given, np.int16), columns=3)
    assert array.dtype == np.int16
    assert array.tolist() == np.array(mirrored).tolist()
    assert Change().of_map(given, columns=3) is given


def test_a_map_leaves_an_led_dark_only_if_it_can():
    assert LEFT_DARK.of_map([0, 1, 2, 3, 4, 5], columns=3) == [0, 1, 2, 3, 4, 5]
    assert LEFT_DARK.of_map([-1, 0, 1, 3], columns=3) == [-1, -1, 1, -1]
    assert LEFT_DARK.of_map([[-1, -1], [0, 0], [1, 0]], columns=3) == [[-1, -1], [-1, -1], [1, 0]]


@pytest.mark.parametrize("wrong", [{}, "012", [0.5, 1.0], [[0, 1, 2]], [], [[0, 1], [2]], None])
def test_what_is_not_a_map(wrong):
    with pytest.raises(ValueError, match="is not a map"):
        cells_of(wrong, columns=3)
