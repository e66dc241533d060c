"""The coded pattern against Gray's own table, and read back through a real signal path."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.errors import PictureError
from harness.patterns.coded import (
    ALWAYS_LIT,
    NEVER_LIT,
    READS_GAP,
    UNCLEAR,
    coded_masks,
    coded_steps,
    read_codes,
)

# Gray 1953, US patent 2632058: the reflected code of 0 … 15, typed in, highest bit first.
GRAY = [
    *("0000", "0001", "0011", "0010", "0110", "0111", "0101", "0100"),
    *("1100", "1101", "1111", "1110", "1010", "1011", "1001", "1000"),
]


def foyer_gap():
    gap = np.zeros((20, 36), dtype=bool)
    gap[9:11, 17:19] = True
    return gap


@pytest.mark.parametrize(
    ("leds", "steps"),
    # ceil(log2 N) + 2 worked by hand: 2^9 = 512 < 576 and 716 <= 1024 = 2^10.
    [(1, 2), (2, 3), (3, 4), (4, 4), (5, 5), (576, 12), (716, 12), (1024, 12), (1025, 13)],
)
def test_number_of_pictures(leds, steps):
    assert coded_steps(leds) == steps


def test_masks_hold_the_code_of_the_patent():
    masks = coded_masks(np.zeros((4, 4), dtype=bool))
    assert masks.shape == (6, 4, 4)
    assert masks[0].all()
    assert not masks[1].any()
    columns = masks[2:][::-1].reshape(4, 16).T  # highest bit first
    assert ["".join(str(int(b)) for b in bits) for bits in columns] == GRAY


@given(st.integers(1, 200), st.integers(1, 12))
def test_neighbours_differ_in_one_picture_and_no_two_are_alike(count, columns):
    # The property the reflected code was patented for.
    rows = -(-count // columns)
    gap = np.arange(rows * columns).reshape(rows, columns) >= count
    codes = coded_masks(gap)[2:, ~gap].T.astype(int)
    assert (np.abs(np.diff(codes, axis=0)).sum(axis=1) == 1).all()
    assert len(np.unique(codes, axis=0)) == count


def test_gap_is_lit_in_both_settling_pictures_only():
    gap = foyer_gap()
    masks = coded_masks(gap)
    assert masks[0][gap].all()
    assert masks[1][gap].all()
    assert not masks[2:, gap].any()
    assert not masks[1][~gap].any()


@st.composite
def walls(draw):
    """A gap with two other cells at least, and what some LEDs show; the first shows a cell."""
    rows, columns = draw(st.integers(1, 6)), draw(st.integers(2, 7))
    gap = np.array(draw(st.lists(st.booleans(), min_size=rows * columns, max_size=rows * columns)))
    gap[:2] = False
    cells = np.flatnonzero(~gap).tolist()
    marks = [NEVER_LIT, ALWAYS_LIT] + [READS_GAP] * bool(gap.any())
    shown = draw(st.lists(st.sampled_from(cells + marks), max_size=30))
    return gap.reshape(rows, columns), np.array([draw(st.sampled_from(cells)), *shown])


@given(walls(), st.floats(0.05, 1), st.floats(0.3, 50), st.floats(0, 0.04), st.randoms())
def test_read_back_through_brightness_scatter_limit_and_leak(wall, brightness, limit, leak, chance):
    gap, source = wall
    masks = coded_masks(gap)
    masks = masks.reshape(len(masks), -1)
    some_gap = int(gap.argmax())
    lit = masks[:, np.where(source >= 0, source, some_gap)]
    lit[:, source == NEVER_LIT] = False
    lit[:, source == ALWAYS_LIT] = True
    # LEDs of one reel scatter in brightness by a quarter or so: common practice, no source.
    levels = lit * np.array([brightness * chance.uniform(0.75, 1) for _ in source])
    # A limiter dims a whole frame when the sum of its light is above the limit.
    levels *= np.minimum(1, limit / np.maximum(levels.sum(axis=1, keepdims=True), 1e-9))
    levels += leak * levels[0].max()
    assert read_codes(levels, gap).tolist() == source.tolist()


@given(walls(), st.floats(0, 0.1), st.randoms())
def test_each_led_is_read_against_its_own_light(wall, black, chance):
    # A dim run, a dead channel, a tint: each LED has a gain of its own, far below the brightest.
    gap, source = wall
    masks = coded_masks(gap).reshape(coded_steps(int((~gap).sum())), -1)
    gains = np.array([1.0, *(chance.choice([0.02, 0.1, 1 / 3, 0.5, 1]) for _ in source[1:])])
    levels = masks[:, np.where(source >= 0, source, 0)] * gains
    levels[:, source == NEVER_LIT] = 0
    # Most LEDs always lit, and dim, would look like a black that is lifted.
    levels[:, source == ALWAYS_LIT] = np.maximum(gains, 1 / 3)[source == ALWAYS_LIT]
    if (source == READS_GAP).any():
        levels[:, source == READS_GAP] = masks[:, [int(gap.argmax())]] * 0.3
    # Black lifted: no LED gets darker than that.
    few_always = (source == ALWAYS_LIT).sum() * 2 < len(source)
    levels = np.maximum(levels, black * few_always * 0.1)
    assert read_codes(levels, gap).tolist() == source.tolist()


def test_a_run_at_half_brightness_is_read():
    gap = np.zeros((4, 8), dtype=bool)
    levels = coded_masks(gap).reshape(7, 32).astype(float)
    levels[:, 8:16] *= 0.5**2.2  # drive halved, through a curve: 22 % of the light
    assert read_codes(levels, gap).tolist() == list(range(32))


def test_a_mixture_of_two_cells_is_unclear():
    gap = np.zeros((2, 4), dtype=bool)
    masks = coded_masks(gap).reshape(5, 8).astype(float)
    levels = masks.copy()
    levels[:, 2] = 0.6 * masks[:, 1] + 0.4 * masks[:, 5]  # 001 and 111: two bits differ
    source = read_codes(levels, gap)
    assert source[2] == UNCLEAR
    assert np.delete(source, 2).tolist() == [0, 1, 3, 4, 5, 6, 7]


def test_a_code_no_cell_has_is_unclear():
    gap = np.zeros((1, 5), dtype=bool)
    levels = np.ones((5, 1))
    levels[:, 0] = [1, 0, 0, 0, 1]  # Gray 100 is 7, beyond the five cells
    assert read_codes(levels, gap).tolist() == [UNCLEAR]


def test_all_dark_is_never_lit_and_no_leds_is_empty():
    gap = np.zeros((2, 2), dtype=bool)
    assert read_codes(np.zeros((4, 3)), gap).tolist() == [NEVER_LIT] * 3
    assert read_codes(np.zeros((4, 0)), gap).shape == (0,)


def test_one_led_wall():
    gap = np.zeros((1, 1), dtype=bool)
    seen = [read_codes([[on], [off]], gap)[0] for on, off in ((1, 0), (0, 0), (1, 1))]
    assert seen == [0, NEVER_LIT, ALWAYS_LIT]


@pytest.mark.parametrize(
    ("levels", "told"),
    [
        (np.zeros((3, 4)), "shape"),
        (np.zeros(4), "shape"),
        (np.full((4, 1), np.nan), "nan"),
        (np.full((4, 1), -1.0), "-1.0"),
        (np.full((4, 1), np.inf), "inf"),
    ],
)
def test_bad_levels_are_named(levels, told):
    with pytest.raises(PictureError, match=told) as caught:
        read_codes(levels, np.zeros((2, 2), dtype=bool))
    assert "Fix:" in str(caught.value)
