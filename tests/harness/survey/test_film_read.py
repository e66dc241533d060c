"""The parts that read a film: rhythm, lattice, words, and the plan's grid, each by itself."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from harness.patterns.codewords import code_for
from harness.patterns.film import film_steps, film_words
from harness.survey.decoding import read_cells
from harness.survey.footage import Frame
from harness.survey.lattice import Laid, fit_outline, lattices
from harness.survey.placing import place
from harness.survey.rhythm import NoMarkerError, rhythm_of
from harness.survey.seen import Outline
from harness.survey.shift import Details, moved, peak
from harness.survey.shots import Shot, Shots
from harness.survey.sighting import sighted
from harness.survey.tracking import warped
from tests.tables import telling


def frames(times_s, begin_s, pace_s, leds=40, level=80, seed=0):
    """A small wall of 10 × 4 spots, some px each, that plays the pattern; then it is dark."""
    rng = np.random.default_rng(seed)
    steps, words = film_steps(leds), film_words(leds)
    for time_s in times_s:
        step = int(np.floor((time_s - begin_s) / pace_s))
        lit = np.zeros(leds, dtype=bool)
        if 0 <= step < len(steps):
            shown = steps[step]
            lit[:] = shown.lit == 1
            if shown.bit >= 0:
                lit = words[:, shown.bit] == (shown.shows == "bit")
        luma = rng.integers(26, 34, (24, 48), dtype=np.uint8)
        luma[4:20, 4:44] += np.kron(lit.reshape(4, 10), np.full((4, 4), level, np.uint8))
        yield Frame(float(time_s), luma, lambda: None)


@pytest.mark.parametrize(
    ("fps", "pace_s"),
    telling([(24, 0.25), (29.97, 0.26), (59.9, 0.131)], lambda row: row[0] != 29.97),
)
def test_the_rhythm_is_found_at_any_pace_and_rate_though_frames_are_missing(fps, pace_s):
    rng = np.random.default_rng(int(fps))
    times_s = np.arange(0, 1.3 + pace_s * len(film_steps(40)), 1 / fps)
    times_s = times_s[rng.random(len(times_s)) > 0.03]
    found = rhythm_of(frames(times_s, 0.9, pace_s), film_steps(40), moving=True)
    nearest = min(found.begins_s, key=lambda begin_s: abs(begin_s - 0.9))
    assert nearest == pytest.approx(0.9, abs=0.6 / fps + 0.004)
    assert found.pace_s == pytest.approx(pace_s, rel=5e-4)
    shown = found.step >= 0
    true = np.floor((times_s - 0.9) / pace_s).astype(int)
    inside = shown & (true >= 0) & (true < len(film_steps(40)))
    assert (found.step[inside] == true[inside]).all()


@pytest.mark.slow
def test_the_rhythm_is_found_though_the_camera_lost_frames_of_the_marker():
    """The file says nothing of them: its frames follow each other at one rate."""
    taken_s = np.arange(0, 14, 1 / 30)
    steps, pace_s, begin_s = film_steps(40), 0.188, 1.3
    lit_long = begin_s + 9.3 * pace_s  # the last four pictures with all on begin with the ninth
    taken_s = np.delete(taken_s, np.flatnonzero(taken_s > lit_long)[:6])
    times_s = np.arange(len(taken_s)) / 30
    shown = [
        replace(frame, time_s=float(time_s))
        for frame, time_s in zip(frames(taken_s, begin_s, pace_s), times_s, strict=True)
    ]
    found = rhythm_of(shown, steps, moving=True)
    true = np.floor((taken_s - begin_s) / pace_s).astype(int)
    coded = (found.step >= 0) & (true >= 16) & (true < len(steps))
    assert coded.sum() > 0.4 * (true >= 16).sum()
    assert (found.step[coded] == true[coded]).all()
    assert found.pace_s == pytest.approx(pace_s, rel=0.01)


@pytest.mark.slow
def test_the_rhythm_is_found_beside_what_blinks_brighter():
    """In half of the picture a lamp goes on and off at random."""
    rng = np.random.default_rng(2)
    shown = list(frames(np.arange(0, 10, 1 / 12), 1.13, 0.25, level=40))
    for frame in shown:
        frame.luma[:, 24:] = 30 + 200 * rng.integers(0, 2)
    seen = rhythm_of(shown, film_steps(40), moving=True)
    assert seen.begins_s[-1] == pytest.approx(1.13, abs=0.03)
    assert seen.pace_s == pytest.approx(0.25, rel=0.004)


def test_a_film_without_the_pattern_is_refused():
    with pytest.raises(NoMarkerError):
        rhythm_of(frames(np.arange(0, 8, 1 / 25), 100, 0.25), film_steps(40), moving=True)


def test_homography_and_lens_are_those_of_opencv():
    """cv2.projectPoints of a camera with k1, k2: the model of OpenCV's own calibration."""
    cell = np.stack(np.meshgrid(np.arange(36), np.arange(20)), axis=-1).reshape(-1, 2).astype(float)
    solid = np.column_stack([(cell - [17.5, 9.5]) * 0.0333, np.zeros(len(cell))])
    camera = np.array([[1400.0, 0, 960], [0, 1400, 540], [0, 0, 1]])
    lens = np.array([-0.12, 0.05, 0, 0, 0])
    pixels, _ = cv2.projectPoints(
        solid, np.array([0.1, 0.6, 0.05]), np.array([0, 0, 1.1]), camera, lens
    )
    pixels = pixels.reshape(-1, 2)
    some = np.random.default_rng(1).random(len(cell)) < 0.7
    start = cv2.findHomography(cell, pixels)[0]
    outline = fit_outline(cell[some], pixels[some], Outline(start, (960.0, 540.0), 1000.0))
    assert np.abs(outline.pixels(cell) - pixels).max() < 0.05
    assert outline.radial[0] == pytest.approx(-0.12 * (1000 / 1400) ** 2, abs=0.01)


def test_a_cell_that_the_frames_cut_off_is_not_in_the_film():
    """A part from (100, 40) on, reduced to half, of frames of 200 × 100: pitch 20 px there."""
    still = np.zeros((100, 200, 3), np.uint8)
    shot = Shot(0, 0, 0.0, np.zeros((30, 50), np.uint8))
    shots = Shots([shot], still, shot, 100, 40, 2.0, 10.0)
    outline = Outline(np.array([[10.0, 0, 4.5], [0, 10.0, 4.5], [0, 0, 1]]))
    # Middles are at 109.5, 129.5 … 189.5 across and at 49.5, 69.5, 89.5 down in the frame.
    has = shots.has(outline, (4, 6))
    assert has[:3, :5].all()
    assert not has[3].any()
    assert not has[:, 5].any()


@pytest.mark.parametrize("slant", [0.0, 0.5])
def test_lattices_go_over_perspective_gaps_and_missing_leds(slant):
    """Places where a homography puts them: both lattices must be the homography's."""
    rng = np.random.default_rng(3)
    matrix = np.array([[14.0, slant, 60], [1.0, 13, 40], [0.004, 0.001, 1]])
    cell = np.stack(np.meshgrid(np.arange(30), np.arange(16)), axis=-1).reshape(-1, 2)
    there = rng.random(len(cell)) > 0.04
    there &= ~((cell[:, 0] // 3 == 4) & (cell[:, 1] // 3 == 2))
    cell = cell[there]
    places = Outline(matrix).pixels(cell.astype(float)) + rng.normal(0, 0.3, cell.shape)
    strange = np.concatenate([places, rng.uniform(0, 400, (12, 2))])
    planned = np.concatenate([cell, rng.integers(0, 16, (12, 2))])
    found = [*lattices(strange, np.ones(len(strange)), planned, (360, 480))]
    assert len(found) == 2
    for laid in found:
        away = np.hypot(*(laid.outline.pixels(laid.cells.astype(float)) - places[0]).T)
        first = laid.cells[away.argmin()] - cell[0]
        shown = laid.outline.pixels((cell + first).astype(float))
        assert np.abs(shown - places).max() < 1.5
        assert {tuple(one) for one in (cell + first).tolist()} <= {
            tuple(one) for one in laid.cells.tolist()
        }


@pytest.mark.parametrize("blur", [1.5, 4.0])
def test_leds_are_found_by_their_words_though_their_light_runs_together(blur):
    """LEDs 6 px apart, each a Gaussian of so many px: at 4 px all is one bright field."""
    words = film_words(128)
    y, x = (6.0 * one + 20 for one in np.divmod(np.arange(128), 16))
    rows, columns = np.mgrid[:90, :140]
    spot = np.exp(
        -((rows - y[:, None, None]) ** 2 + (columns - x[:, None, None]) ** 2) / 2 / blur**2
    )
    swings = np.tensordot(np.where(words, 0.5, -0.5).T, spot, axes=1)
    swings += np.random.default_rng(1).normal(0, 0.05, swings.shape)
    found = sighted(swings.astype(np.float32), words, 6.0)
    assert sorted(found.number.tolist()) == list(range(128))
    assert np.abs(found.places - np.stack([x, y], axis=1)[found.number]).max() < 3.0


def swings_of(number, words, spill=0.0, noise=0.0, seed=0):
    """(B, rows, columns) what cells with these numbers measure, -1 for a dark cell."""
    signs = np.where(words, 1.0, -1.0)
    own = np.where(number[..., None] >= 0, signs[number.clip(0)], 0.0)
    around = sum(np.roll(own, way, axis=(0, 1)) for way in ((0, 1), (0, -1), (1, 0), (-1, 0)))
    rng = np.random.default_rng(seed)
    return np.moveaxis(2 * (own + spill * around) + rng.normal(0, noise, own.shape), -1, 0)


def test_words_are_read_up_to_the_bound_of_the_code():
    """A code of distance d corrects (d - 1) // 2 wrong bits: R. W. Hamming, 1950."""
    words = film_words(576)
    code = code_for(576)
    number = np.random.default_rng(0).permutation(576).reshape(24, 24)
    swings = swings_of(number, words)
    rng = np.random.default_rng(1)
    for row in range(24):
        for column in range(24):
            wrong = rng.choice(code.bits, (code.distance - 1) // 2, replace=False)
            swings[wrong, row, column] *= -1
    assert (read_cells(swings, words).number == number).all()


def test_a_dark_cell_is_dark_though_its_neighbours_shine_into_it():
    words = film_words(576)
    number = np.arange(576).reshape(24, 24)
    number[5, 7] = number[15, 3] = -1
    read = read_cells(swings_of(number, words, spill=0.25, noise=0.1), words)
    lit = number >= 0
    assert (read.number == number)[lit].all()
    assert read.confidence[lit].min() > 0.999
    assert read.swing[lit].min() > 0.8
    assert read.swing[~lit].max() < 0.04


def test_a_bit_that_the_film_does_not_have_is_left_out():
    words = film_words(100)
    number = np.arange(100).reshape(10, 10)
    swings = swings_of(number, words, noise=0.2)
    swings[[3, 9, 20]] = np.nan
    assert (read_cells(swings, words).number == number).all()


def windowed(number, turns=0, mirrored=False):
    """The wall in a larger window, as a film shows it."""
    shown = np.full((number.shape[0] + 6, number.shape[1] + 6), -1)
    shown[2 : 2 + number.shape[0], 3 : 3 + number.shape[1]] = number
    shown = np.rot90(shown, turns)
    return shown[:, ::-1] if mirrored else shown


PLAN = np.arange(60).reshape(6, 10)
PLAN[2:4, 4] = -1


@pytest.mark.parametrize("turns", [0, 1, 3])
def test_a_turned_film_is_turned_back_if_the_grid_fits_only_so(turns):
    shown = windowed(PLAN, turns)
    placed = place(shown, (shown >= 0).astype(float), PLAN)
    assert (shown[placed.row, placed.column] == PLAN).all()
    assert bool(placed.notes) == bool(turns)


@pytest.mark.parametrize(("turns", "mirrored"), [(2, False), (0, True)])
def test_a_film_that_stands_on_its_head_or_is_mirrored_is_taken_as_it_is(turns, mirrored):
    shown = windowed(PLAN, turns, mirrored)
    placed = place(shown, (shown >= 0).astype(float), PLAN)
    back = PLAN[:, ::-1] if mirrored else PLAN[::-1, ::-1]
    assert (shown[placed.row, placed.column] == back)[:, [0, 1, 8, 9]].all()


def test_the_walls_edge_decides_even_if_all_numbers_are_one_off():
    moved_on = np.where(PLAN >= 0, (PLAN + 1) % 60, -1)
    shown = windowed(moved_on)
    placed = place(shown, (shown >= 0).astype(float), PLAN)
    assert (shown[placed.row, placed.column] == moved_on).all()


def test_shifts_are_found_also_between_a_picture_and_its_inverse():
    rng = np.random.default_rng(5)
    cells = np.kron(rng.random((12, 20)) < 0.5, np.ones((8, 8)))
    picture = np.pad(cells, 20).astype(np.float32)
    inverse = np.pad(1 - cells, 20).astype(np.float32)
    x, y, _ = peak(Details(moved(picture, 3.4, -2.2)).against(Details(picture)))
    assert (x, y) == pytest.approx((3.4, -2.2), abs=0.15)
    x, y, _ = peak(-Details(moved(inverse, -1.0, 2.0)).against(Details(picture)))
    assert (x, y) == pytest.approx((-1.0, 2.0), abs=0.3)


def test_the_map_between_two_pictures_is_found():
    rng = np.random.default_rng(6)
    made = cv2.GaussianBlur(rng.random((120, 160)).astype(np.float32), (0, 0), 3)
    true = np.array([[1.01, 0.01, -1.2], [-0.008, 0.99, 1.5], [0, 0, 1]])
    picture = 3 * cv2.warpAffine(made, true[:2], (160, 120), borderMode=cv2.BORDER_REFLECT) + 0.2
    warp, like = warped(picture, made)
    assert like > 0.97
    corners = np.array([[20, 20, 1], [140, 20, 1], [140, 100, 1.0]]).T
    assert np.abs(warp @ corners - true @ corners).max() < 0.1


@pytest.mark.parametrize("across", [(1, 0), (-1, 0), (0, 1), (0, -1)])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_lattice_is_counted_as_the_picture_shows_it(across, mirrored):
    """Whatever way the plan's columns go, columns go right and rows down in the picture."""
    x, y = across
    down = (y, -x) if mirrored else (-y, x)
    matrix = np.array([[9.0 * x, 9 * down[0], 200], [9 * y, 9 * down[1], 150], [1e-4, 0, 1]])
    cells = np.stack(np.meshgrid(np.arange(6), np.arange(4)), axis=-1).reshape(-1, 2)
    laid = Laid(Outline(matrix), cells).as_pictured()
    at = laid.outline.pixels(laid.cells.astype(float))
    assert at == pytest.approx(Outline(matrix).pixels(cells.astype(float)))
    steps = laid.outline.pixels(np.array([[1.0, 1], [2, 1], [1, 2]]))
    right, below = steps[1:] - steps[0]
    assert right[0] > 8 > abs(right[1])
    assert below[1] > 8 > abs(below[0])
