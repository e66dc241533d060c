"""What a camera reads of LEDs, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from harness.campaign.watch import Shown, Watch
from tests.harness.campaign.test_eye import wall


def reads(planned, shown, all_on=(255, 255, 255), led=0):
    """Bands of red, green and blue by which the LED is off; None if it reads what it should."""
    watch = Watch(wall(), ())

    def light(drives):
        return watch.eye.light(np.array(drives, dtype=np.uint8).reshape(1, 1, 3))

    on = light(all_on)[0, :, 1]

    def one(drives):
        return Shown(np.array(drives, np.uint8).reshape(1, 1, 3), light(drives), on, np.array([0]))

    differences = watch.differences(one(planned), one(shown), np.array([led]))
    found = int(differences["camera"].view(np.int64)[0, 0])
    if not found:
        return None
    bands = []
    for _ in range(3):
        bands.append((found + 32) % 64 - 32)
        found = (found - bands[-1]) // 64
    return bands


@pytest.mark.parametrize("level", [0, 1, 128, 255])
def test_it_reads_what_is_as_planned(level):
    assert reads((level, 0, level), (level, 0, level)) is None


def test_it_tells_bands_of_ten_per_cent():
    """1.1² = 1.21: two bands up. Less than half a band it does not tell."""
    assert reads((200, 200, 200), (206, 206, 206)) is None
    assert reads((200, 200, 200), (242, 242, 242)) == [2, 2, 2]
    assert reads((242, 242, 242), (200, 200, 200)) == [-2, -2, -2]


def test_it_tells_colours_apart():
    red, green, blue = reads((255, 255, 255), (255, 255, 0))
    assert blue < -20
    assert abs(red) < 3
    assert abs(green) < 3


def test_what_dims_all_on_alike_is_not_seen():
    """Half of the light in this picture and in all-on, as behind a dirty front; then only here."""
    assert reads((200, 0, 0), (100, 0, 0), all_on=(128, 128, 128)) is None
    assert reads((200, 0, 0), (100, 0, 0)) is not None


def test_a_cell_that_is_dark_in_all_on_counts_as_planned():
    assert reads((200, 200, 200), (200, 200, 200), all_on=(0, 0, 0)) is None
    assert min(reads((200, 200, 200), (0, 0, 0), all_on=(0, 0, 0))) < -20


def test_nobody_sees_a_hidden_led():
    assert reads((0, 0, 0), (255, 255, 255), led=2) is None
