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
        ("[cover]\noff_centre_mm = 7.5", "off_centre_mm"),
        ("[cover]\noff_centre_mm = -8", "off_centre_mm"),
        ("[cover]\noff_centre_mm = nan", "off_centre_mm"),
        ("[cover]\nleast_min_to_mean = 0", "least_min_to_mean"),
        ("[cover]\nleast_min_to_mean = 1.1", "least_min_to_mean"),
        ("[cover]\nmost_crosstalk = 0", "most_crosstalk"),
        ("[cover]\nmost_crosstalk = nan", "most_crosstalk"),
        ("[view]\nleast_contrast = 0.9", "least_contrast"),
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
    assert problem.fix


def test_how_far_off_centre_a_strip_may_sit_depends_on_which_way_it_lies():
    # Cells of 20 mm by 15 mm: strips along columns have 10 mm to each side, along rows 7.5 mm.
    columns = HEAD.replace("[wiring]", "[wiring]\nalong='columns'")
    cover = "[cover]\noff_centre_mm = 9"
    assert parse_display(columns + cover, Path("w.toml")).cover.off_centre_mm == 9
    with pytest.raises(DisplayFileError, match="openings 15 mm wide"):
        parsed(cover)
    with pytest.raises(DisplayFileError, match="openings 12 mm wide"):
        parse_display(columns + cover + "\nopening_mm = 12", Path("w.toml"))
    with pytest.raises(DisplayFileError, match="cells 15 mm wide"):
        parsed(cover + "\nwalls = 'none'\nopening_mm = 12")


def test_what_is_wanted_is_nothing_unless_the_file_says_so():
    display, text = parsed(), new_display_text(4, 4)
    assert display.cover.least_min_to_mean is display.cover.most_crosstalk is None
    assert display.view.least_contrast is None
    for key in ("least_min_to_mean", "most_crosstalk", "least_contrast", "off_centre_mm"):
        assert f"#{key} = " in text
