"""The sections [cover] and [view] of a display file."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator import DisplayFileError, parse_display
from emulator.description.new import new_display_text

HEAD = "[grid]\ncolumns=4\nrows=4\npitch_mm=20\nrow_pitch_mm=15\n[chip]\npart='WS2812B'\n[wiring]\n"


def parsed(rest=""):
    return parse_display(HEAD + rest, Path("wall.toml"))


def test_defaults_are_stated_and_shown_in_a_new_file():
    display, text = parsed(), new_display_text(4, 4)
    assert (display.cover.depth_mm, display.cover.walls) == (10, "black")
    assert display.cover.opening_mm is None
    assert (display.view.distance_m, display.view.ambient_lx) == (3, 100)
    for line in ("#walls = \"black\"", "#transmission = 0.5", "#scatter_mm = 1.0", "[view]",
                 "#distance_m = 3.0", "#ambient_lx = 100.0", "#opening_mm = 33.3333"):  # fmt: skip
        assert line in text


@pytest.mark.parametrize(
    ("rest", "key"),
    [
        ("[cover]\nopening_mm = 16", "opening_mm"),
        ("[cover]\nopening_mm = 0", "opening_mm"),
        ("[cover]\ntransmission = 0", "transmission"),
        ("[cover]\ntransmission = 1.1", "transmission"),
        ("[cover]\nwalls = 'grey'", "walls"),
        ("[cover]\nwall_reflectance = 1", "wall_reflectance"),
        ("[cover]\nscatter_mm = -1", "scatter_mm"),
        ("[cover]\ndepth_mm = nan", "depth_mm"),
        ("[view]\ndistance_m = 0", "distance_m"),
        ("[view]\nambient_lx = -5", "ambient_lx"),
        ("[view]\nambient_lx = inf", "ambient_lx"),
        ("[view]\ndistance = 3", "distance"),
    ],
)
def test_a_value_that_cannot_be_is_named_with_its_line_and_mend(rest, key):
    with pytest.raises(DisplayFileError) as caught:
        parsed(rest)
    (problem,) = caught.value.problems
    assert problem.key == key
    assert problem.line == 10
    assert problem.mend
