"""A small sample of the films of `marks`, read by the command as a user runs it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

pytest.importorskip("cv2", reason="needs opencv: pip install 'foreglow[camera]'")
pytest.importorskip("av", reason="needs PyAV: pip install 'foreglow[video]'")
pytest.importorskip("scipy", reason="needs scipy: pip install 'foreglow[campaign]'")

from tests.harness.survey.filming.settings import SMALL, Front
from tests.harness.survey.films import Film
from tests.harness.survey.marks import marked

# A hand that turns the picture by cells, and a shutter that catches other LEDs dark in each frame.
BARE = replace(
    SMALL,
    place=replace(SMALL.place, sway=1.0),
    front=Front("bare", 0.03),
    clip=replace(SMALL.clip, rotation_deg=90),
    pwm_hz=430.0,
)


@pytest.mark.slow
def test_a_film_of_a_sound_wall_is_read_whole(tmp_path: Path) -> None:
    """Bare LEDs, a portrait film: all but a few are placed, none wrongly without a flag."""
    film = Film("film.mp4", "ordinary", "bare", "sign", BARE, seed=1)
    mark = marked(film, film.write(tmp_path))
    assert mark.wrong == mark.lost == 0, str(mark)
    assert mark.right >= 0.99 * mark.leds, str(mark)


@pytest.mark.slow
def test_a_film_shows_the_fault_of_the_wall(tmp_path: Path) -> None:
    """Two runs of the sign in each other's place: the LEDs are found there, and the fault."""
    fault = "runs-exchanged run=1 other=2"
    film = Film("film.mp4", "ordinary", fault, "sign", SMALL, 2, (fault,))
    mark = marked(film, film.write(tmp_path))
    assert mark.wrong == mark.lost == 0, str(mark)
    assert "fault named" in mark.says, str(mark)
