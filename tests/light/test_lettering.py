"""Lines of text, as pixels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from emulator.light.lettering import fitted, line_high, text_wide, write

WORDS = st.text("abcdefgWM0123456789 ·#,.", max_size=40)


def inked(text: str, px: int) -> np.ndarray:
    """(rows, columns) bool: the pixels that text written from 30, 30 changes."""
    image = Image.new("L", (text_wide(text, px) + 60, 60))
    write(ImageDraw.Draw(image), 30, 30, text, px, 255)  # type: ignore[arg-type]
    return np.asarray(image) > 40


@given(WORDS, st.integers(9, 22))
def test_text_is_as_wide_and_high_as_said(text, px):
    rows, columns = np.nonzero(inked(text, px))
    if columns.size:
        # A letter may lean a pixel out of its advance.
        assert columns.min() >= 29
        assert columns.max() <= 30 + text_wide(text, px)
        assert rows.max() - rows.min() < sum(line_high(px))


@given(WORDS, st.integers(9, 22), st.integers(30, 300))
def test_fitted_text_fits_and_is_left_alone_where_it_did(text, px, wide):
    short = fitted(text, px, wide)
    assert text_wide(short, px) <= wide
    if text_wide(text, px) <= wide:
        assert short == text
    else:
        assert short.endswith("…")
        assert text.startswith(short[:-1])


@pytest.mark.parametrize("px", [11, 15, 20])
def test_digits_are_equally_wide_so_that_a_running_clock_stands_still(px):
    assert len({text_wide(digit * 8, px) for digit in "0123456789"}) == 1


@pytest.mark.parametrize("px", [11, 15, 20])
def test_words_stand_clear_of_each_other(px):
    # Common practice, no source: a word space is about a quarter of the size or more.
    columns = inked("nn nn", px).any(axis=0)
    marks = np.flatnonzero(columns)
    assert np.diff(marks).max() - 1 >= px / 4


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("Grüße, Señor", "Gru?e, Senor"),
        ("cd/m²", "cd/m2"),
        ("日 Ω\t", "? ??"),
        ("5 µm – …", "5 ?m - …"),
    ],
)
def test_a_letter_that_the_face_lacks_is_no_box(text, written):
    assert text_wide(text, 15) == text_wide(written, 15)
    assert (inked(text, 15) == inked(written, 15)).all()
