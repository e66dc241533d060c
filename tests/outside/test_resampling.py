"""Resampling against the box filters of Pillow and OpenCV, on light that is linear already."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image

from emulator.picture.fit import fit
from emulator.picture.srgb import linear_to_srgb

SIZES = [((480, 640), (20, 36)), ((97, 131), (20, 36)), ((60, 72), (20, 36)), ((41, 37), (40, 36))]


def noise(height, width):
    return np.random.default_rng(3).random((height, width, 3), np.float32)


# OpenCV's documentation of INTER_AREA: "resampling using pixel area relation", exact shares of
# pixels when shrinking. It works in float32 here, as fit does.
@pytest.mark.parametrize(("size", "shape"), SIZES)
def test_shrinking_is_opencvs_area_filter(size, shape):
    image = noise(*size)
    theirs = cv2.resize(image, shape[::-1], interpolation=cv2.INTER_AREA)
    assert np.abs(fit(image, shape, "stretch") - theirs).max() < 2e-6


# Pillow's documentation of BOX: "each pixel of source image contributes to one pixel of the
# destination image with identical weights"; `reduce` takes whole factors, and means exactly.
def test_shrinking_by_a_whole_factor_is_pillows_reduce_and_box():
    image = noise(480, 640)[..., 0]
    here = fit(image, (48, 64), "stretch")[..., 0]
    pillow = Image.fromarray(image)
    assert np.abs(here - np.asarray(pillow.reduce(10))).max() < 2e-6
    box = pillow.resize((64, 48), Image.Resampling.BOX)
    assert np.abs(here - np.asarray(box)).max() < 2e-6


# The same source: its `box` argument is a region in pixels, also of fractions.
def test_a_region_by_a_whole_factor_is_pillows_box_of_it():
    image = noise(48, 64)[..., 1]
    box = Image.fromarray(image).resize((10, 6), Image.Resampling.BOX, (16, 12, 56, 36))
    here = fit(image, (6, 10), "stretch", (16 / 64, 12 / 48, 40 / 64, 24 / 48))[..., 1]
    assert np.abs(here - np.asarray(box)).max() < 2e-6


# Pillow means code values as they are and fit means light, so the two agree where a cell is of
# one value: decoding, places and edges are the same then.
def test_eight_bit_blocks_come_out_as_pillows_do():
    chance = np.random.default_rng(4)
    blocks = chance.integers(0, 256, (12, 16), np.uint8)
    image = blocks.repeat(5, axis=0).repeat(4, axis=1)  # one cell each
    theirs = np.asarray(Image.fromarray(image).resize((16, 12), Image.Resampling.BOX))
    here = np.round(255 * linear_to_srgb(fit(image, (12, 16), "stretch")))
    assert (here == theirs[..., None]).all()
