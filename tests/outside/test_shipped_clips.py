"""Pictures and clips from other packages, read by our sources and by other readers.

The photograph is matplotlib's sample 'grace_hopper.jpg' (US Navy, public domain, from memory),
the moving GIF pygame-ce's example 'animated_sample.gif'. They replace a camera and a film.
What the sources show is compared with the same files decoded by PyAV, OpenCV and Pillow and
reduced by OpenCV's INTER_AREA in linear light.
"""

from __future__ import annotations

import av
import cv2
import numpy as np
import pytest
from PIL import Image, ImageSequence

from emulator import load_display
from emulator.picture.camera import Camera
from emulator.picture.clip import Clip
from emulator.picture.srgb import srgb_to_linear
from emulator.picture.still import Still
from tests.picture.media import GIF, PHOTO, moving_photo, wall, write_clip

FOYER = load_display("foyer")


def reduced(image, columns, rows):
    """Cut to the wall's proportions around the middle and reduced by OpenCV, in linear light."""
    height, width = image.shape[:2]
    side = min(width / columns, height / rows)
    wide, high = side * columns, side * rows
    left, top = (width - wide) / 2, (height - high) / 2
    assert float(left).is_integer(), "so that cutting needs no share of a pixel"
    assert float(top).is_integer()
    cut = image[int(top) : int(top + high), int(left) : int(left + wide)]
    light = srgb_to_linear(cut / 255).astype(np.float32)
    return cv2.resize(light, (columns, rows), interpolation=cv2.INTER_AREA)


def test_a_shipped_photograph_as_a_still():
    with Image.open(PHOTO) as image:
        pixels = np.asarray(image.convert("RGB"))
    assert pixels.shape == (600, 512, 3)
    display = wall(32, 25)  # 16 pixels a cell across, 400 of 600 down
    assert Still(PHOTO)(0, display) == pytest.approx(reduced(pixels, 32, 25), abs=2e-3)


def test_a_shipped_gif_as_a_clip():
    with Image.open(GIF) as image:
        frames = [np.asarray(frame.convert("RGB")) for frame in ImageSequence.Iterator(image)]
    with av.open(str(GIF)) as file:
        begins_s = [frame.time for frame in file.decode(video=0)]
    assert len(frames) == len(begins_s) > 5
    display = wall(12, 12)
    with Clip(GIF) as clip:
        for frame, begin_s in zip(frames, begins_s, strict=True):
            expected = reduced(frame, 12, 12)
            assert clip(begin_s - begins_s[0] + 0.01, display) == pytest.approx(expected, abs=2e-3)


def test_the_photograph_as_a_film_is_what_pyav_reads(tmp_path):
    path = write_clip(tmp_path / "film.mp4", moving_photo(12), 12)
    display = wall(12, 8)
    with av.open(str(path)) as file, Clip(path) as clip:
        for frame in file.decode(video=0):
            expected = reduced(frame.to_ndarray(format="rgb24"), 12, 8)
            assert clip(frame.time + 0.01, display) == pytest.approx(expected, abs=2e-3)


def test_the_photograph_as_a_camera_is_what_opencv_reads(tmp_path):
    path = write_clip(tmp_path / "camera.avi", moving_photo(12), 12)
    display = wall(12, 8)
    film = cv2.VideoCapture(str(path))
    with Camera(path, levels="as is") as camera:
        for number in range(12):
            there, frame = film.read()
            assert there
            expected = reduced(frame[..., ::-1], 12, 8)
            assert camera(number / 12, display) == pytest.approx(expected, abs=2e-3)
    film.release()


def test_a_camera_plays_onto_the_foyer(tmp_path):
    path = write_clip(tmp_path / "camera.avi", moving_photo(12), 12)
    with Camera(path, levels="as is") as camera:
        pictures = [camera(n / 12, FOYER) for n in range(24)]
    assert all(p.shape == FOYER.picture_shape for p in pictures)
    assert (pictures[3] == pictures[15]).all()  # it begins again
    assert (pictures[3] != pictures[4]).any()
