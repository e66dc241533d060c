"""assert_map and assert_right fail in the words of `foreglow check`."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import canvas, load_display
from emulator.errors import UnknownNameError
from harness.assertions import assert_map, assert_right
from harness.assertions.failure import PictureFailure


@pytest.fixture(scope="module")
def sign():
    return load_display("sign")


def sending(display, change=lambda picture: picture):
    def to_wire(picture):
        return canvas.to_wire(canvas.to_drives(change(picture), display), display)

    return to_wire


def test_right_code_passes(sign):
    assert_map(sign, sending(sign))
    assert_right(sign, sending(sign))


def test_a_wrong_map_fails_in_the_words_of_check_with_its_picture(sign):
    with pytest.raises(PictureFailure) as failed:
        assert_map(sign, sending(sign, lambda picture: picture[:, ::-1]))
    text = str(failed.value)
    assert "on 'sign': 1 finding" in text
    assert "mirrored left-right" in text
    assert "fix  " in text
    assert [label for label, _ in failed.value.pictures] == ["expected", "shown", "different"]


def test_assert_map_leaves_colours_alone_and_assert_right_does_not(sign):
    swapped = sending(sign, lambda picture: picture[..., [1, 0, 2]])
    assert_map(sign, swapped)
    with pytest.raises(AssertionError, match="red and green"):
        assert_right(sign, swapped)


def test_only_some_checks_are_run(sign):
    swapped = sending(sign, lambda picture: picture[..., [1, 0, 2]])
    assert_right(sign, swapped, only="wire,map")
    with pytest.raises(AssertionError):
        assert_right(sign, swapped, only=("map", "colour"))
    with pytest.raises(UnknownNameError, match="mapp"):
        assert_right(sign, swapped, only="mapp")


def test_many_findings_are_cut_and_counted(sign):
    rng = np.random.default_rng(1)
    cells = sign.wiring.cell.copy()
    odd = rng.permutation(len(cells))[:8]
    cells[odd] = cells[np.roll(odd, 1)]
    with pytest.raises(PictureFailure) as failed:
        assert_map(sign, cells)
    assert str(failed.value).count("✗") <= 5


def test_a_failure_that_no_picture_shows_is_told_without_one():
    banner = load_display("banner")

    def too_long(picture):
        return [np.append(line, [1, 2, 3, 4, 5]).astype(np.uint8) for line in code(picture)]

    code = sending(banner)
    with pytest.raises(AssertionError, match="5 bytes too many") as failed:
        assert_right(banner, too_long, only="wire")
    assert not isinstance(failed.value, PictureFailure)
