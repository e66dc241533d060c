"""foreglow says why a picture does not fit, and passes on what fits unchanged."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import PictureError, canvas, load_display


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (np.zeros((36, 20, 3), np.uint8), "Columns and rows are exchanged"),
        (np.zeros((20, 36), np.uint8), "colour axis is missing"),
        (np.zeros((20, 36, 4), np.uint8), "needs (rows, columns, 3) = (20, 36, 3)"),
        (np.zeros((20, 36, 3), np.int64), "dtype int64"),
        (np.full((20, 36, 3), np.nan), "is nan at (0, 0, 0)"),
        (np.full((20, 36, 3), 200.0), "divide by 255"),
        (np.full((20, 36, 3), "x"), "dtype"),
        ("nonsense", "shape ()"),
    ],
)
def test_pictures_that_do_not_fit_are_told_in_words(picture, said):
    for step in (canvas.to_drives, canvas.meant_light):
        with pytest.raises(PictureError) as caught:
            step(picture, load_display("foyer"))
        assert said in str(caught.value)
