"""Films taken by a camera of this computer, and corners that people show, on drawn frames."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import SourceError, parse_display
from harness.patterns.film import film_steps, film_words
from harness.report.survey.live import words_of
from harness.survey import taking
from harness.survey.footage import Frame
from harness.survey.seeing import lit_frame, see
from harness.survey.taking import Kept, Taking, take_film
from harness.survey.upright import turn_of

PX = 12
WALL = parse_display(
    '[grid]\ncolumns = 8\nrows = 5\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)
STEPS, WORDS = film_steps(40), film_words(40)
COLOURS = {"red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1)}


class Drawn:
    """The wall on a stand, each cell a square of half its pitch; 14 frames a second.

    turned: it hangs on its head.
    """

    name, moving = "drawn", True

    def __init__(self, turned=False):
        self.turned = turned

    def frames(self):
        rng, wiring = np.random.default_rng(4), WALL.wiring
        noise = rng.normal(30, 2, (200, 200, 3)).astype(np.float32)
        for number in range(int(14 * (len(STEPS) * 0.25 + 3))):
            time_s = number / 14
            step = int((time_s - 1.5) // 0.25)
            light = np.zeros((5, 8, 3))
            if 0 <= step < len(STEPS):
                shown = STEPS[step]
                lit = WORDS[:, shown.bit] == (shown.shows == "bit")
                lit = lit if shown.bit >= 0 else np.full(40, shown.lit)
                light[wiring.row, wiring.column] = lit[:, None] * np.array(
                    COLOURS.get(shown.shows, (1, 1, 1))
                )
            light = light[::-1, ::-1] if self.turned else light
            spot = np.pad(np.full((PX // 2, PX // 2), 150.0), PX // 4)
            down, right = rng.integers(0, 40, 2)
            rgb = noise[down : down + 120, right : right + 160].copy()
            rgb[30:90, 20:116] += np.kron(light, spot[..., None])
            rgb = rgb.clip(0, 255).astype(np.uint8)
            luma = rgb.mean(axis=2).astype(np.uint8)
            yield Frame(time_s, luma, lambda rgb=rgb: rgb)


class Camera:
    """A camera that ends after some frames."""

    left = 3

    def __init__(self, camera):
        if camera == 9:
            raise SourceError("the camera 9 cannot be opened")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def read(self):
        self.left -= 1
        if self.left < 0:
            raise SourceError("no more frames come")
        return np.zeros((16, 16, 3), np.uint8)


@pytest.mark.parametrize(("camera", "says"), [("0", "camera 0 is lost"), ("9", "cannot be opened")])
def test_a_camera_that_is_lost_or_missing_is_an_error(camera, says, tmp_path, monkeypatch):
    monkeypatch.setattr(taking, "Capture", Camera)
    with pytest.raises(SourceError, match=says):
        take_film(camera, 40, tmp_path / "film.mkv", lambda frame, film: True)


def test_while_it_films_it_says_what_is_missing():
    before = words_of(Taking(None, 90, 30.0), "mywall")
    assert "whole wall in the picture? Start the pattern now" in before[0]
    light = np.zeros((24, 42))
    light[4:20, 0:30] = 1.0
    seen = words_of(Taking(34, 90, 6.0, 0.25, light), "mywall")
    assert "34 of 90 pictures" in seen[0]
    assert "6 frames a second are few for 4 pictures" in seen[1]
    assert "(left)" in seen[2]


@pytest.mark.slow
def test_the_film_of_a_camera_ends_with_the_pattern_and_is_read(tmp_path):
    """A film in place of the camera: all LEDs are read from the film that was kept of it."""
    with Kept(tmp_path / "camera.mkv") as kept:
        for frame in Drawn().frames():
            kept.take(frame)
    progress = []

    def show(frame, film):
        progress.append(film.pictures)
        return True

    film = take_film(str(tmp_path / "camera.mkv"), 40, tmp_path / "film.mkv", show)
    assert progress[0] is None
    assert progress[-1] == len(STEPS)
    seen = see(film, WALL)
    assert (seen.number == WALL.wiring.led_at).all()


@pytest.mark.slow
def test_corners_that_people_show_need_not_be_exact():
    """The drawn wall's corner cells are at these pixels; people click a third of a cell beside."""
    low, high = 35.5, 83.5
    corners = np.array([[25.5, low], [109.5, low], [109.5, high], [25.5, high]])
    clicks = corners + np.array([[3, -2], [-2, 3], [3, 3], [-3, 1.0]])
    seen = see(Drawn(), WALL, corners=clicks)
    assert (seen.number == WALL.wiring.led_at).all()
    assert np.abs(seen.outline.pixels(np.array([[0, 0], [7, 4.0]])) - corners[::2]).max() < 1
    lit = lit_frame(Drawn(), WALL).mean(axis=2)
    assert lit[30:90, 20:116].mean() > 2 * lit[:25].mean()


@pytest.mark.slow
def test_a_wall_that_hangs_on_its_head_is_not_as_planned():
    assert turn_of(see(Drawn(turned=True), WALL)).words() == "turned by 180°"


def test_corners_in_another_order_are_refused():
    corners = np.array([[25.5, 35.5], [25.5, 83.5], [109.5, 83.5], [109.5, 35.5]])
    with pytest.raises(SourceError, match="clockwise"):
        see(Drawn(), WALL, corners=corners)
