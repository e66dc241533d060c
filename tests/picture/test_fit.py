"""Each cell gets the mean of the light of its area, in the wall's true proportions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.errors import OutOfRangeError, PictureError, UnknownNameError
from emulator.picture.fit import fit

seeds = st.integers(0, 2**32 - 1)
sides = st.integers(1, 40)


def noise(seed, *shape):
    return np.random.default_rng(seed).random(shape, np.float32)


@given(seeds, sides, sides, st.sampled_from(["crop", "whole", "stretch"]))
def test_an_image_of_the_walls_size_comes_as_it_is(seed, rows, columns, how):
    image = noise(seed, rows, columns, 3)
    assert (fit(image, (rows, columns, 3), how) == image).all()


@given(seeds, sides, sides, sides, sides)
def test_light_is_neither_lost_nor_made(seed, height, width, rows, columns):
    image = noise(seed, height, width, 3)
    picture = fit(image, (rows, columns, 3), "stretch")
    assert picture.mean(axis=(0, 1)) == pytest.approx(image.mean(axis=(0, 1)), abs=1e-5)
    assert image.min() - 1e-6 <= picture.min()
    assert picture.max() <= image.max() + 1e-6


@given(seeds, sides, sides, sides, sides, st.floats(0.3, 3))
def test_showing_the_whole_keeps_its_light_on_the_part_it_takes(
    seed, height, width, rows, columns, aspect
):
    image = noise(seed, height, width, 3)
    picture = fit(image, (rows, columns, 3), "whole", aspect=aspect)
    share = (width / height) / (columns / (rows * aspect))  # of the wall's width, or of its height
    lit = min(share, 1 / share)
    assert picture.mean() == pytest.approx(image.mean() * lit, abs=1e-5)


# By hand: pixels 0 1 2 | 3 4 5 in three steps to two cells: the middle pixel is shared in halves.
def test_a_pixel_that_lies_across_cells_counts_in_each_by_its_share():
    image = np.array([[0.1, 0.4, 0.9]])
    picture = fit(image, (1, 2, 3), "stretch")
    assert picture[0, :, 0] == pytest.approx([(0.1 + 0.2) / 1.5, (0.2 + 0.9) / 1.5])


def test_small_images_are_enlarged_without_blur():
    picture = fit(np.array([[0.0, 1.0]]), (2, 4, 3), "stretch")
    assert picture[..., 0].tolist() == [[0, 0, 1, 1]] * 2


# IEC 61966-2-1, by hand: 128 means 0.2158605 of full light. The mean of the code values 255 and
# 128 is 191.5, which would mean 0.52 of it.
def test_the_mean_is_one_of_light_not_of_code_values():
    image = np.array([[128, 255], [255, 128]], np.uint8)
    assert fit(image, (1, 1, 3))[0, 0] == pytest.approx([(1 + 0.2158605) / 2] * 3)


def test_grey_and_colour_images_give_the_same():
    grey = np.arange(60, dtype=np.uint8).reshape(6, 10)
    assert (fit(grey, (3, 5, 3)) == fit(grey[..., None].repeat(3, axis=2), (3, 5, 3))).all()


# An image twice as wide as the wall: each side is its own colour.
WIDE = np.zeros((4, 8, 3), np.uint8)
WIDE[:, :2], WIDE[:, 2:6], WIDE[:, 6:] = (255, 0, 0), (0, 255, 0), (0, 0, 255)


def test_cropping_fills_the_wall_and_cuts_both_sides_alike():
    assert (fit(WIDE, (4, 4, 3), "crop") == (0, 1, 0)).all()


def test_the_whole_has_dark_bars_above_and_below():
    picture = fit(WIDE, (4, 4, 3), "whole")
    assert (picture[[0, 3]] == 0).all()
    assert picture[1, :, 0].tolist() == [1, 0, 0, 0]
    assert picture[2, :, 2].tolist() == [0, 0, 0, 1]


def test_stretching_ignores_proportions():
    assert fit(WIDE, (1, 4, 3), "stretch")[0].tolist() == [[1, 0, 0], [0, 1, 0], [0, 1, 0],
                                                          [0, 0, 1]]  # fmt: skip


def test_cells_that_are_not_square_keep_the_images_proportions():
    # Cells half as high as wide: 8 rows of 4 make a square wall, so the middle square fills it.
    assert (fit(WIDE, (8, 4, 3), "crop", aspect=0.5) == (0, 1, 0)).all()
    # Cells twice as wide as that: the wall is as wide as the image, and all of it is seen.
    assert fit(WIDE, (8, 8, 3), "crop", aspect=0.5)[0, [0, 7]].tolist() == [[1, 0, 0], [0, 0, 1]]


def test_a_region_is_shown_alone_even_beside_bars():
    left = fit(WIDE, (4, 4, 3), "whole", region=(0, 0, 0.25, 1))  # the red part, 2 wide, 4 high
    assert (left[:, 1:3] == (1, 0, 0)).all()
    assert (left[:, [0, 3]] == 0).all()
    assert (fit(WIDE, (4, 2, 3), region=(0.75, 0, 0.25, 1)) == (0, 0, 1)).all()


# By hand: two pixels of light, from the middle of the first to the middle of the third of four.
def test_bars_are_dark_though_the_image_goes_on_beyond_the_region():
    picture = fit(np.ones((1, 4)), (1, 4, 3), "whole", region=(1 / 8, 0, 1 / 2, 1))
    assert picture[0, :, 0].tolist() == [0, 1, 1, 0]


@given(seeds, st.integers(0, 3), st.integers(0, 3), st.integers(1, 4), st.integers(1, 4))
def test_a_region_of_whole_pixels_is_the_image_cut_there(seed, left, top, wide, high):
    image = noise(seed, 8, 8, 3)
    region = (left / 8, top / 8, wide / 8, high / 8)
    cut = image[top : top + high, left : left + wide]
    assert fit(image, (3, 5, 3), "stretch", region) == pytest.approx(fit(cut, (3, 5, 3), "stretch"))


@pytest.mark.parametrize(
    ("image", "said"),
    [
        (np.zeros((4, 4, 4), np.uint8), "Drop the fourth channel"),
        (np.zeros((0, 4, 3), np.uint8), "image of shape (0, 4, 3)"),
        (np.zeros(7), "give (height, width, 3)"),
        ([[1.0], [1.0, 0.5]], "image of shape"),
        (np.zeros((4, 4), int), "dtype int64"),
        (np.full((4, 4, 3), np.nan), "linear light from 0 to 1"),
        (np.full((4, 4, 3), 128.0), "divide by 255"),
    ],
)
def test_what_is_no_image_is_told_in_words(image, said):
    with pytest.raises(PictureError) as caught:
        fit(image, (2, 2, 3))
    assert said in str(caught.value)
    assert "Fix: " in str(caught.value)


@pytest.mark.parametrize(
    "region", [(0, 0, 1.1, 1), (0.5, 0, 0.6, 1), (-0.1, 0, 1, 1), (0, 0, 0, 1), (0, 0, 1, np.nan)]
)
def test_a_region_outside_the_image_is_refused(region):
    with pytest.raises(OutOfRangeError, match="region"):
        fit(WIDE, (2, 2, 3), region=region)


@pytest.mark.parametrize("region", [(), (0, 0, 1), (0, 0, 1, 1, 1)])
def test_a_region_has_four_numbers(region):
    with pytest.raises(OutOfRangeError, match=f"region of {len(region)} numbers"):
        fit(WIDE, (2, 2, 3), region=region)


@pytest.mark.parametrize("shape", [(0, 3), (3, 0, 3), (-1, 3), (3,), ()])
@pytest.mark.parametrize("how", ["crop", "whole", "stretch"])
def test_a_wall_without_cells_is_refused(shape, how):
    with pytest.raises(PictureError, match="wall of shape"):
        fit(WIDE, shape, how)


def test_other_ways_to_fit_and_cells_without_height_are_refused():
    with pytest.raises(UnknownNameError, match="crop, stretch, whole"):
        fit(WIDE, (2, 2, 3), "fill")
    with pytest.raises(OutOfRangeError, match="aspect"):
        fit(WIDE, (2, 2, 3), aspect=0)


@pytest.mark.slow
@pytest.mark.parametrize("shape", [(1, 60_000), (60_000, 1)])
@pytest.mark.parametrize("how", ["crop", "stretch"])
def test_an_image_of_any_proportions_needs_no_more_memory_than_its_size(shape, how):
    """Also where the wall has as many cells: a table of both would be 29 GB."""
    image = np.full((*shape, 3), 0.25, dtype=np.float32)
    for wall in ((20, 36), shape):
        assert np.abs(fit(image, wall, how) - 0.25).max() <= 1e-4  # sums in float32
