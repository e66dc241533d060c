"""Frames of films and of folders of stills: order, orientation, light, and what cannot be read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from harness.survey.footage import footage, linear_of_code

av = pytest.importorskip("av", reason="needs PyAV: pip install 'foreglow[video]'")


def write_film(path: Path, grey: int, count: int = 3) -> None:
    """A film with a grey of the video range, whose left edge is black."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream("libx264", rate=25, options={"qp": "0"})
        stream.width, stream.height, stream.pix_fmt = 64, 32, "yuv420p"
        picture = np.full((48, 64), 128, dtype=np.uint8)
        picture[:32], picture[:32, :8] = grey, 16
        for _ in range(count):
            file.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="yuv420p")))
        file.mux(stream.encode())


@pytest.mark.parametrize(("code", "light"), [(16, 0), (235, 255), (126, 128)])
def test_a_film_s_range_is_widened(tmp_path, code, light):
    """ITU-R BT.601: black is 16 and white 235 of 8 bits (from memory)."""
    write_film(tmp_path / "film.mp4", code)
    frames = list(footage(tmp_path / "film.mp4").frames())
    assert [frame.time_s for frame in frames] == pytest.approx([0, 0.04, 0.08])
    assert frames[0].luma[:, 16:].min() == frames[0].luma.max() == code
    linear = linear_of_code(frames[0].narrow)[code]
    assert linear == pytest.approx(linear_of_code()[light], rel=0.02)
    assert frames[0].rgb()[16, 40].tolist() == pytest.approx([light] * 3, abs=2)


def test_a_mirrored_film_is_turned_back(tmp_path):
    write_film(tmp_path / "film.mp4", 235)
    frame = next(iter(footage(tmp_path / "film.mp4", mirrored=True).frames()))
    assert (frame.luma[16, 0], frame.luma[16, -1]) == (235, 16)
    assert frame.rgb()[16, -1].max() <= 2


@pytest.mark.parametrize("mirrored", [False, True])
def test_stills_come_in_the_order_of_their_numbers(tmp_path, mirrored):
    for number in (10, 9, 100):
        picture = np.zeros((4, 6, 3), dtype=np.uint8)
        picture[:, 0] = number
        Image.fromarray(picture).save(tmp_path / f"IMG_{number}.png")
    (tmp_path / "notes.txt").write_text("not a picture")
    film = footage(tmp_path, mirrored=mirrored)
    edge = -1 if mirrored else 0
    assert [frame.luma[0, edge] for frame in film.frames()] == [9, 10, 100]
    assert [frame.rgb()[0, edge, 0] for frame in list(film.frames())] == [9, 10, 100]


def test_what_is_no_film_is_refused_and_nothing_is_written(foreglow, tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "text.mp4").write_text("no film")
    write_film(tmp_path / "short.mp4", 235)
    for name, says in (
        ("gone.mp4", "gone.mp4: there is no such film"),
        ("empty", "empty: no pictures in the folder"),
        ("text.mp4", "text.mp4: the film cannot be read"),
        ("short.mp4", "short.mp4: it does not show the beginning of the pattern coded-film"),
    ):
        status, out, err = foreglow("survey", "foyer", name)
        assert (status, out) == (2, "")
        assert says in " ".join(err.split())
        assert "Fix:" in err
    assert not (tmp_path / "foreglow-out").exists()
