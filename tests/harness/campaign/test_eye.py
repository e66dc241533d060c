"""What an eye sees of LEDs, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import chip, load_display, shorthand
from emulator.description.display import Display
from emulator.description.faults.light import CoverCracked, CoverMissing, LedOffMiddle
from emulator.description.sections import Grid
from harness.campaign.eye import AS_PLANNED, NOT_LIT, Eye, _spot, _uv
from harness.campaign.facts import patches_of
from tests.tables import telling

RED, YELLOW, GREEN, CYAN, BLUE, MAGENTA, WHITE = range(7)
WEAKER, SAME, STRONGER = range(3)


def wall():
    wiring = shorthand(np.zeros((1, 2), bool), "top-left", "rows", hidden=(0, 0, 1))
    return Display("wall", Grid(columns=2, rows=1), chip("WS2812B"), wiring)


def symbol(planned, shown, led=0):
    eye = Eye(wall(), ())
    should, does = (
        eye.light(np.array(one, dtype=np.uint8).reshape(1, 1, 3)) for one in (planned, shown)
    )
    return int(eye.symbols(should, does, np.array([led]), np.array([0]))[0, 0])


def lit(colour, level):
    return 2 + 3 * colour + level


@pytest.mark.parametrize(
    ("planned", "shown", "seen"),
    [
        ((255, 255, 255), (255, 255, 255), AS_PLANNED),
        ((0, 0, 0), (0, 0, 0), AS_PLANNED),
        ((255, 255, 255), (0, 0, 0), NOT_LIT),
        ((0, 0, 0), (0, 255, 0), lit(GREEN, STRONGER)),
        ((255, 0, 0), (128, 0, 0), lit(RED, WEAKER)),
        ((128, 0, 0), (255, 0, 0), lit(RED, STRONGER)),
        ((255, 0, 0), (230, 0, 0), AS_PLANNED),  # 10 % less
        ((255, 0, 0), (0, 0, 255), lit(BLUE, WEAKER)),  # 0.39 cd became 0.18
        ((255, 0, 0), (255, 0, 255), lit(MAGENTA, STRONGER)),
        ((255, 255, 255), (255, 255, 0), lit(YELLOW, SAME)),  # without the 14 % that are blue
        ((255, 255, 255), (0, 255, 255), lit(CYAN, WEAKER)),
    ],
)
def test_a_cell_is_right_or_dark_or_of_a_colour_and_a_level(planned, shown, seen):
    """mcd of the WS2812B's datasheet, Worldsemi: red 390–420, green 660–720, blue 180–200."""
    assert symbol(planned, shown) == seen


def test_nobody_sees_a_hidden_led():
    assert symbol((0, 0, 0), (255, 255, 255), led=2) == AS_PLANNED


def test_chromaticity_is_that_of_cie_1976():
    """D65: u' = 0.1978, v' = 0.4683 (CIE 15:2004)."""
    assert np.allclose(_uv(np.array([0.9505, 1.0, 1.0891])), (0.1978, 0.4683), atol=1e-4)


@pytest.mark.parametrize("name", telling(["foyer", "banner", "sign"], lambda n: n == "banner"))
def test_spots_differ_by_how_the_front_is_missing(name):
    """A crack lets a point glare on a lit face; without front there is the point alone. An LED off
    the middle puts the brightest place to one side."""
    display = load_display(name)

    def spot(fault):
        [patched] = patches_of(display, [fault])
        return _spot(display, patched)

    cracked, missing = (spot(kind(column=0, row=0)) for kind in (CoverCracked, CoverMissing))
    assert (cracked, missing) == (2, 3)
    little, much = (
        next(LedOffMiddle.everywhere(display)).model_copy(update={"right_mm": right_mm})
        for right_mm in (0.01, display.grid.pitches_mm[0] / 4)
    )
    assert (spot(little), spot(much)) == (0, 1)
