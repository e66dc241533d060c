"""The cut list against figures of the trade."""

from __future__ import annotations

from pathlib import Path

import pytest

from emulator.description.cutlist import cut_list
from emulator.description.load import parse_display


def test_24_by_24_wall_takes_four_reels_of_six_rows_with_six_leds_left_on_each() -> None:
    # Common practice, no source: a 24 × 24 grid is 576 LEDs; 24 rows of 24 cut from rolls of 150
    # take 4 rolls, 6 rows each with 6 LEDs left over.
    display = parse_display(
        '[grid]\ncolumns = 24\nrows = 24\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
    )
    cuts = cut_list(display)
    assert display.leds == 576
    assert cuts.reel_leds == 150
    assert len(cuts.reels) == cuts.fewest == 4
    assert [len(reel.pieces) for reel in cuts.reels] == [6, 6, 6, 6]
    assert [reel.left_over for reel in cuts.reels] == [6, 6, 6, 6]


def test_row_of_24_at_30_leds_a_metre_is_800_mm() -> None:
    # Common practice, no source: 30 LEDs/m is 33.3 mm pitch, so 24 LEDs are 24 × 33.3 = 800 mm.
    display = parse_display(
        '[grid]\ncolumns = 24\nrows = 1\npitch_mm = 33.3333\n[chip]\npart = "WS2812B"\n[wiring]\n',
        Path("wall.toml"),
    )
    assert cut_list(display).pieces[0].length_mm == pytest.approx(800, abs=0.1)
