"""Stills of the demo displays against stored ones: the look must not change.

That it is right is shown elsewhere, against the direct sum, closed forms and colour-science.
`pytest tests/light/test_pictures.py --foreglow-update` stores them again: look at them then.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from PIL import Image

from emulator import load_display
from emulator.light import eye
from emulator.light.front import with_cover
from emulator.light.look import Look
from emulator.light.photo import photo_look
from emulator.light.still import still

FOLDER = Path(__file__).parent / "pictures"
MOST, MEAN = 2, 0.5  # code values


class Case(NamedTuple):
    """A demo display, how it is viewed, and the changes to its cover."""

    display: str
    look: Look
    wide: int = 400
    photo: bool = False
    cover: dict[str, object] = {}  # noqa: RUF012, a NamedTuple's defaults are not shared state


CASES = {
    "foyer-dark": Case("foyer", Look(led_colours=True)),
    "foyer-ambient-60m": Case("foyer", Look(60.0, 200.0, None, True)),
    "foyer-no-walls": Case("foyer", Look(2.0), cover={"walls": "none", "depth_mm": 8.0}),
    "banner-6m": Case("banner", Look(6.0, led_colours=True), wide=96),
    "sign-photo": Case("sign", Look(3.0, 20.0, None, True), photo=True),
    "sign-daylight": Case("sign", Look(20.0, 5000.0, None, True)),
}


def picture(shape: tuple[int, int, int]) -> np.ndarray:
    """Greys above, saturated colours in the middle, lone cells on black below."""
    rows, columns, _ = shape
    cells = np.zeros(shape, np.float32)
    third = max(rows // 3, 1)
    ramp = np.linspace(0, 1, columns, dtype=np.float32)
    cells[:third] = ramp[:, None] ** 2.2
    if rows > third:
        turn = 2 * np.pi * (ramp[:, None] + np.array([0, 1 / 3, 2 / 3]))
        cells[third : 2 * third] = (0.5 + 0.5 * np.cos(turn)) ** 3
        cells[2 * third :: 2, ::3] = 1
    return cells


def drawn(case: Case, gain: float = 1.0) -> np.ndarray:
    """The still of a case, (height, width, 3); gain: of all light, as a wrong exposure."""
    display = with_cover(load_display(case.display), **case.cover)
    cells = picture(display.picture_shape)
    look = photo_look(display, cells, case.look) if case.photo else case.look
    return np.asarray(still(display, gain * cells, case.wide, look=look))


def apart(one: np.ndarray, other: np.ndarray) -> tuple[int, float]:
    """The largest and the mean difference in code values."""
    difference = np.abs(one.astype(int) - other)
    return int(difference.max()), float(difference.mean())


def alike(one: np.ndarray, other: np.ndarray) -> bool:
    most, mean = apart(one, other)
    return most <= MOST and mean <= MEAN


def stored(name: str) -> np.ndarray:
    with Image.open(FOLDER / f"{name}.png") as image:
        return np.asarray(image)


@pytest.mark.parametrize("name", CASES)
def test_a_still_is_the_stored_one(name, request, tmp_path):
    shown = drawn(CASES[name])
    file = FOLDER / f"{name}.png"
    if request.config.getoption("--foreglow-update", default=False):
        Image.fromarray(shown).save(file, optimize=True)
    assert file.is_file(), f"{file} is not there; to store it: pytest --foreglow-update"
    wanted = stored(name)
    assert shown.shape == wanted.shape
    most, mean = apart(shown, wanted)
    if not alike(shown, wanted):
        Image.fromarray(shown).save(tmp_path / "drawn.png")
        grown = np.abs(shown.astype(int) - wanted) * 20
        Image.fromarray(grown.clip(0, 255).astype(np.uint8)).save(tmp_path / "difference.png")
    assert alike(shown, wanted), (
        f"up to {most} code values from {file}, {mean:.2f} in the mean; drawn.png and"
        f" difference.png (20 times) are in {tmp_path}. If it is meant: pytest --foreglow-update"
    )


def test_every_stored_picture_belongs_to_a_case():
    assert {file.stem for file in FOLDER.glob("*.png")} == set(CASES)


@pytest.mark.parametrize("name", CASES)
def test_three_per_cent_more_or_less_light_is_not_taken_for_the_same(name):
    for gain in (0.97, 1.03):
        assert not alike(drawn(CASES[name], gain), stored(name))


@pytest.mark.parametrize("factor", [0.97, 1.03])
def test_three_per_cent_of_blur_are_not_taken_for_the_same(monkeypatch, factor):
    usual = eye.blur_mm
    monkeypatch.setattr(eye, "blur_mm", lambda distance_m: factor * usual(distance_m))
    name = "foyer-ambient-60m"  # from near by, the eye's blur is less than a pixel
    assert not alike(drawn(CASES[name]), stored(name))
