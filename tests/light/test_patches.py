"""Faults of cover and front, against what photometry says of one cell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from emulator import Bench, chip, shorthand
from emulator.description.display import Display
from emulator.description.faults.reading import with_faults
from emulator.description.light import Cover
from emulator.description.sections import Grid
from emulator.light.look import Look
from emulator.light.wall import WallView


def wall(*faults, **cover):
    grid = Grid(columns=5, rows=3, pitch_mm=30)
    wiring = shorthand(np.zeros((3, 5), dtype=bool))
    cover = Cover(depth_mm=12, walls="black", opening_mm=26, **cover)
    return with_faults(Display("wall", grid, chip("WS2812B"), wiring, cover=cover), faults)


def cells(display, level=1.0):
    return np.full(display.picture_shape, level, dtype=np.float32)


def luminance(display, pixels=500, level=1.0):
    """(rows, columns, 80, 80) cd/m² of each cell, of 100 × 100 pixels, without its margin.

    There it has light of its neighbours, too: the front scatters over the walls.
    """
    view = WallView(display, pixels, Look(distance_m=0.01))
    picture = view.luminance(cells(display, level))
    return picture.reshape(3, 100, 5, 100).swapaxes(1, 2)[:, :, 10:-10, 10:-10]


def others(display):
    """Every cell but the one in column 1, row 1."""
    mask = np.ones((3, 5), dtype=bool)
    mask[1, 1] = False
    return mask


PLANNED = luminance(wall())


@pytest.mark.parametrize(
    "sentence",
    [
        "front-dirty column=1 row=1",
        "cover-missing column=1 row=1",
        "cover-cracked column=1 row=1",
        "led-off-middle led=8",  # serpentine: row 1 runs back, its LED 8 is in column 1
    ],
)
def test_a_fault_of_one_cell_leaves_the_others_alone(sentence):
    found = luminance(wall(sentence))
    mask = others(found)
    assert np.allclose(found[mask], PLANNED[mask], rtol=2e-3, atol=PLANNED.max() * 2e-3)
    assert not np.allclose(found[1, 1], PLANNED[1, 1], rtol=0.02)


def test_a_dirty_front_is_a_grey_filter():
    found = luminance(wall("front-dirty column=1 row=1 passes=0.3"))
    assert found[1, 1] == pytest.approx(0.3 * PLANNED[1, 1], rel=1e-3)
    twice = luminance(wall(*["front-dirty column=1 row=1 passes=0.5"] * 2))
    assert twice[1, 1] == pytest.approx(0.25 * PLANNED[1, 1], rel=1e-3)


def test_an_led_without_front_is_as_bright_as_its_face():
    """L = I / A: full white of intensity I from a face of 3.5 mm × 3.5 mm, seen from the front."""
    display = wall("cover-missing column=1 row=1")
    found = luminance(display)[1, 1]
    face_m2 = (display.chip.emitter_mm / 1000) ** 2
    candela = sum(display.chip.intensity_mcd) / 1000
    assert found.max() == pytest.approx(candela / face_m2, rel=0.1)
    # Its light is in a small spot, and all of it: twice what the front of 50 % lets pass, and what
    # the walls swallow, too. From the middle of the spot to half its height it is 1.75 mm.
    across = found[40] > found.max() / 2
    assert across.sum() * 0.3 == pytest.approx(3.5, abs=0.7)
    assert found.sum() > 2 * PLANNED[1, 1].sum()
    assert found[:10].max() < 0.02 * found.max()


def test_a_crack_lets_its_share_through():
    whole, bare = PLANNED[1, 1], luminance(wall("cover-missing column=1 row=1"))[1, 1]
    found = luminance(wall("cover-cracked column=1 row=1 share=0.2"))[1, 1]
    assert found == pytest.approx(0.8 * whole + 0.2 * bare, rel=2e-3, abs=0.5)


def test_an_led_off_the_middle_moves_its_spot():
    """As a wall whose strips are all off by as much (`off_centre_mm`: down, along rows)."""
    one = luminance(wall("led-off-middle led=8 right_mm=0 down_mm=4"))[1, 1]
    all_ = luminance(wall(off_centre_mm=4.0))[1, 1]
    assert one == pytest.approx(all_, rel=2e-3, abs=0.5)
    right = luminance(wall("led-off-middle led=8 right_mm=4"))[1, 1]
    assert right == pytest.approx(all_.T, rel=2e-3, abs=0.5)


def test_the_screen_shows_it_and_the_bench_gives_the_light_before_the_cover():
    display = wall("front-dirty column=1 row=1 passes=0.2")
    bench = Bench(display)
    bench.send(cells(display))
    assert (bench.picture == 1).all()
    views = [WallView(one, 250).draw(bench.picture).copy() for one in (display, wall())]
    differs = (
        (views[0].astype(int) - views[1]).reshape(3, 50, 5, 50, 3).swapaxes(1, 2)[:, :, 5:-5, 5:-5]
    )
    changed = np.abs(differs).max(axis=(2, 3, 4)) > 1
    assert changed.tolist() == (~others(differs)).tolist()
    assert differs[1, 1, 20, 20].max() < -60


def test_a_bare_led_is_drawn_no_brighter_than_the_screen_can():
    view = WallView(wall("cover-missing column=1 row=1"), 250)
    red = cells(wall()) * np.array([1.0, 0.2, 0.0], dtype=np.float32)
    shown = view.draw(red)[75, 75]
    assert shown[0] >= 250
    assert shown[1] < 160  # its hue is kept
    assert shown[2] < 40


def test_it_is_not_in_the_plan():
    assert replace(wall("front-dirty column=0 row=0"), faults=()) == wall()
