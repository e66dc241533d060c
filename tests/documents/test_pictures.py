"""Pictures of the documents show what the code draws now."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from tests.chromium import in_chromium
from tests.documents.pictures import BY_CHROMIUM, FOLDER, PICTURES

MOST_OFF, MOST_SHARE_OFF = 40, 0.01  # code values of a mean of 8 × 8; share of means beyond


def means(image):
    """Means over 8 × 8 pixels: edges of letters differ between versions of Pillow and SDL."""
    pixels = np.asarray(image.convert("RGB"), float)
    high, wide = pixels.shape[0] // 8 * 8, pixels.shape[1] // 8 * 8
    return pixels[:high, :wide].reshape(high // 8, 8, wide // 8, 8, 3).mean(axis=(1, 3))


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=in_chromium if name in BY_CHROMIUM else []) for name in PICTURES],
)
def test_a_picture_is_what_is_drawn_now(name):
    with Image.open(FOLDER / name) as stored:
        now, then = means(PICTURES[name]()), means(stored)
    assert now.shape == then.shape, "stale: run `python -m tests.documents`"
    off = np.abs(now - then).max(axis=2)
    assert (off > MOST_OFF).mean() <= MOST_SHARE_OFF, "stale: run `python -m tests.documents`"


def test_every_stored_picture_is_drawn_by_the_script():
    assert {path.name for path in FOLDER.iterdir()} == set(PICTURES)
