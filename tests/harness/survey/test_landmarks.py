"""How pictures of a wall are laid on each other by LEDs whose numbers are known."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("cv2", reason="needs opencv: pip install 'foreglow[camera]'")
pytest.importorskip("scipy", reason="needs scipy: pip install 'foreglow[campaign]'")

from harness.patterns.film import film_steps, film_words
from harness.survey.landmarks import sightings
from harness.survey.shots import Shot, Shots

COLUMNS, ROWS, PITCH = 9, 6, 7.0
PLACES = PITCH * np.stack(np.mgrid[2 : COLUMNS + 2, 3 : ROWS + 3], axis=-1).reshape(-1, 2)
SHAPE = round(PITCH * (ROWS + 5)), round(PITCH * (COLUMNS + 4))


def turned(degrees: float, x: float, y: float) -> np.ndarray:
    """(3, 3) how the picture moves when a hand turns the camera: by that round the middle of the
    picture, by x and y pixels, and about both axes as far as that moves them (field: 60°)."""
    high, wide = SHAPE
    import cv2

    focal = wide / (2 * np.tan(np.radians(30)))
    camera = np.array([[focal, 0, wide / 2], [0, focal, high / 2], [0, 0, 1]])
    roll, yaw, nod = np.radians(degrees), x / focal, y / focal
    turn, _ = cv2.Rodrigues(np.array([-nod, yaw, roll]))
    return camera @ turn @ np.linalg.inv(camera)


def seen_at(places: np.ndarray, way: np.ndarray) -> np.ndarray:
    """(M, 2) where places are after a move."""
    ahead = np.column_stack([places, np.ones(len(places))]) @ way.T
    return ahead[:, :2] / ahead[:, 2:]


def shots_of(ways: list[np.ndarray], places: np.ndarray = PLACES) -> Shots:
    """One shot of each step, in which the camera has moved so: points of light, sharp."""
    words = film_words(len(places))
    y, x = (np.arange(size) for size in SHAPE)
    shots = []
    for number, (step, way) in enumerate(zip(film_steps(len(places)), ways, strict=True)):
        lit = np.full(len(places), step.lit > 0)
        if step.bit >= 0:
            lit = words[:, step.bit] == (step.shows == "bit")
        across, down = (
            np.exp(-((axis - at) ** 2) / (2 * 1.4**2))
            for axis, at in zip((x, y), seen_at(places[lit], way).T[..., None], strict=True)
        )
        light = down.T @ across
        codes = (np.sqrt(light.clip(0, 1)) * 255).astype(np.uint8)
        shots.append(Shot(number, 0, number / 4, codes))
    return Shots(shots, np.zeros((1, 1, 3), np.uint8), None, 0, 0, 1.0, PITCH)


@pytest.mark.slow
def test_all_numbers_are_sighted_though_the_hand_turns_and_moves_by_cells():
    steps = film_steps(len(PLACES))
    rng = np.random.default_rng(4)
    ways = [turned(*(rng.normal(0, 1, 3) * (2.0, PITCH, PITCH / 2))) for _ in steps]
    laid = sightings(shots_of(ways), steps, film_words(len(PLACES)))
    assert laid.blinking.all()
    by_number = laid.found.places[np.argsort(laid.found.number)]
    # In each picture of the code they lie where the camera was turned to, to a sixth of a cell.
    for (_, number), way in laid.ways.items():
        off = seen_at(by_number, way) - seen_at(PLACES, ways[number])
        assert np.abs(off).max() < PITCH / 6
    assert len(laid.ways) == sum(step.bit >= 0 for step in steps)


@pytest.mark.slow
def test_cells_that_move_out_of_the_picture_are_not_seen():
    """Half of the pictures are moved up by four cells: the uppermost cells are not in them."""
    steps = film_steps(len(PLACES))
    ways = [turned(0, 0, 0 if step.shows != "inverse" else -4 * PITCH) for step in steps]
    laid = sightings(shots_of(ways), steps, film_words(len(PLACES)))
    seen = laid.seen(PLACES).reshape(COLUMNS, ROWS)
    assert (seen[:, 0] < 0.6).all()
    assert (seen[:, 2:] > 0.9).all()


def test_a_wall_of_six_leds_is_sighted_though_some_pictures_of_its_code_are_dark():
    places = PLACES[: 3 * ROWS].reshape(3, ROWS, 2)[:, :2].reshape(-1, 2)
    words = film_words(len(places))
    assert words.all(axis=0).any()  # then the inverse is dark
    steps = film_steps(len(places))
    laid = sightings(shots_of([np.eye(3)] * len(steps), places), steps, words)
    assert laid.blinking.all()
    assert not np.isnan(laid.swings).any()
