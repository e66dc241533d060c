"""Dithering keeps the mean of every level, and never blinks more or longer than it must."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from emulator.canvas import dither, led_offsets
from tests.canvas.walls import wall

ALL = np.arange(16)  # one LED of each place in the order
LEVELS = np.arange(255 * 64 + 1) / 64  # every level in steps finer than dithering makes


def shown(levels, frames, first=0):
    """Drives (frames, levels, 16) of each level on 16 LEDs, one of each place in the order."""
    stack = np.broadcast_to(levels[:, None, None], (frames, levels.size, 16, 1))
    parts = [dither(stack[:, k], ALL, first)[..., 0] for k in range(levels.size)]
    return np.stack(parts, axis=1)


# The aim: the mean over 16 frames is within 1/16 of a drive; 1/32 is as near as
# sixteenths can come.
def test_the_mean_of_sixteen_frames_is_the_level_to_half_a_sixteenth():
    for first in (0, 5):  # also where the sixteen do not begin with the order
        drives = shown(LEVELS[::3], 16, first)
        assert np.abs(drives.mean(axis=0) - LEVELS[::3, None]).max() <= 1 / 32


def test_the_mean_of_sixteen_leds_is_the_level_in_every_single_frame():
    drives = shown(LEVELS[::5], 16)
    assert np.abs(drives.mean(axis=2) - LEVELS[None, ::5]).max() <= 1 / 32


def test_dark_full_and_every_whole_drive_stand_still():
    whole = np.arange(256.0)
    assert (shown(whole, 16) == whole[None, :, None]).all()
    assert (shown(whole.astype(np.float32), 16) == whole[None, :, None]).all()


def test_a_level_is_shown_by_the_drives_beside_it_alone():
    drives = shown(LEVELS[::7], 16)
    assert (drives >= np.floor(LEVELS[::7, None])).all()
    assert (drives <= np.ceil(LEVELS[::7, None])).all()


def test_the_higher_drives_come_evenly_spaced():
    for sixteenths in (1, 2, 4, 8):
        lit = shown(np.array([sixteenths / 16]), 32)[:, 0]
        for led in ALL:
            apart = np.diff(np.flatnonzero(lit[:, led]))
            assert (apart == 16 // sixteenths).all()


def test_neighbours_do_not_blink_together():
    display = wall("dither = true", size=(8, 8))
    offsets = np.zeros((8, 8), int)
    offsets.reshape(-1)[display.wiring.cell] = led_offsets(display)
    half = dither(np.full((1, 64, 1), 0.5), offsets.reshape(-1))[0, :, 0].reshape(8, 8)
    assert (half[:, 1:] != half[:, :-1]).all()  # a checkerboard
    assert (half[1:] != half[:-1]).all()
    for block in (offsets[:4, :4], offsets[2:6, 1:5]):
        assert sorted(block.ravel().tolist()) == ALL.tolist()


# Bayer 1973, from memory: D(1) = 0, D(2n) = [[4 D, 4 D + 2], [4 D + 3, 4 D + 1]].
def test_the_places_are_those_of_bayers_matrix():
    display = wall("dither = true", size=(4, 4))
    offsets = np.zeros(16, int)
    offsets[display.wiring.cell] = led_offsets(display)
    two = np.array([[0, 2], [3, 1]])
    assert (offsets.reshape(4, 4) == np.block([[4 * two, 4 * two + 2],
                                               [4 * two + 3, 4 * two + 1]])).all()  # fmt: skip


@given(st.lists(st.floats(0, 255), min_size=3, max_size=3), st.integers(0, 15))
def test_the_channels_of_an_led_step_together(levels, offset):
    """So white, which they share, is never more than one of them."""
    stack = np.broadcast_to(levels, (16, 1, 3))
    drives = dither(stack, np.array([offset])).astype(int)
    order = np.argsort(levels, kind="stable")
    assert (np.diff(drives[:, 0, order], axis=-1) >= 0).all()
