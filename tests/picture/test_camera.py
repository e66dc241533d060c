"""A camera, replaced by a recorded clip that OpenCV reads with the same code."""

from __future__ import annotations

import sys
from contextlib import suppress

import numpy as np
import pytest

from emulator.errors import SourceError, UnknownNameError
from emulator.picture.camera import Camera
from emulator.picture.fit import fit
from emulator.picture.mix import Fallback
from tests.picture.media import moving_photo, wall, write_clip
from tests.tables import telling

DISPLAY = wall(12, 8)
PATIENT_S = 20
FRAMES = moving_photo(10)
NEAR = 0.02  # of full light, between one decoder's rounding and another's


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    return write_clip(tmp_path_factory.mktemp("clip") / "recorded.avi", FRAMES, 10)


def seen(number, **options):
    return pytest.approx(fit(FRAMES[number], (8, 12), **options), abs=NEAR)


def test_a_recorded_clip_plays_by_the_time_of_the_show_and_begins_again(clip):
    with Camera(clip, levels="as is") as camera:
        assert camera.wait(0)
        for number in (0, 1, 2, 5, 4, 9):
            assert camera(number / 10, DISPLAY) == seen(number)
        for time_s, number in ((1.0, 0), (1.35, 3), (30.9, 9), (0.15, 1)):
            assert camera(time_s, DISPLAY) == seen(number)
        assert camera(0.1, DISPLAY) != seen(3)  # the frames do differ by more than that


def test_every_frame_is_shown_in_its_turn_for_long(tmp_path):
    path = write_clip(tmp_path / "fast.avi", FRAMES, 25)
    with Camera(path, levels="as is") as camera:
        for number in (*range(60), *range(1450, 1500)):  # 29 / 25 * 25 is below 29
            assert camera(number / 25, DISPLAY) == seen(number % 10)


def test_mirrored_region_and_bars(clip):
    with Camera(
        clip, levels="as is", mirrored=True, region=(0, 0, 0.5, 1.0), how="whole"
    ) as camera:
        expected = fit(FRAMES[2], (8, 12), "whole", (0, 0, 0.5, 1.0))[:, ::-1]
        assert camera(0.2, DISPLAY) == pytest.approx(expected, abs=NEAR)


def test_grey_keeps_the_luminance(clip):
    with Camera(clip, levels="as is", grey=True) as camera:
        picture = camera(0.2, DISPLAY)
    assert (picture == picture[..., :1]).all()
    # Luminance of sRGB primaries: IEC 61966-2-1
    luminance = fit(FRAMES[2], (8, 12)) @ np.array([0.2126, 0.7152, 0.0722])
    assert picture[..., 0] == pytest.approx(luminance, abs=NEAR)


def test_a_refused_exposure_is_reported_and_the_picture_comes_all_the_same(clip, caplog):
    with Camera(clip, levels="as is", exposure=150) as camera:
        assert len(camera.refused) == 2
        assert "an exposure of 150" in camera.refused[1]
        assert camera(0.2, DISPLAY) == seen(2)
    assert caplog.text.count("refuses") == 2


def test_the_thread_takes_in_frames_loses_the_camera_and_opens_it_anew(clip):
    # An address instead of a path is read as it comes, as fast as it comes, and then ends.
    with Camera(f"file:{clip}", levels="as is") as camera:
        assert camera.wait(PATIENT_S)
        camera._frames._reader.join(PATIENT_S)
        assert camera(0, DISPLAY) == seen(9)  # the newest
        with pytest.raises(SourceError, match="no more frames come"):
            camera(0.1, DISPLAY)
        with pytest.raises(SourceError, match="lost"):
            camera(0.5, DISPLAY)
        assert camera._frames._reader is None
        with suppress(SourceError):  # it is being opened, or has been already
            camera(1.2, DISPLAY)
        assert camera.wait(PATIENT_S)
        assert camera(1.3, DISPLAY).any()


def test_a_camera_that_is_not_there_is_told(tmp_path):
    with Camera(tmp_path / "video9", levels="as is") as camera:
        camera.wait(0)
        camera._frames._reader.join(PATIENT_S)
        with pytest.raises(SourceError, match="video9 cannot be opened"):
            camera(0, DISPLAY)


def test_a_lost_camera_falls_back_and_returns(clip):
    def grey(time_s, display):
        return np.full(display.picture_shape, 0.25)

    with Fallback(Camera(f"file:{clip}", levels="as is"), grey, fade_s=0, retry_s=2) as wall_source:
        camera = wall_source._first
        assert camera.wait(PATIENT_S)
        camera._frames._reader.join(PATIENT_S)
        assert wall_source(0, DISPLAY) == seen(9)
        assert (wall_source(1, DISPLAY) == 0.25).all()  # it has ended
        tried = wall_source(3.1, DISPLAY)  # it is being opened, or has been already
        assert camera.wait(PATIENT_S)
        camera._frames._reader.join(PATIENT_S)
        assert seen(9) in (tried, wall_source(8, DISPLAY))


class Plug:
    """A camera that can be pulled out: opens and gives frames while it is plugged in."""

    def __init__(self):
        self.plugged = True

    def __call__(self):
        self.read()
        return self

    def read(self):
        if not self.plugged:
            raise SourceError("nobody there")
        return np.full((2, 2, 3), 255, np.uint8)

    def close(self):
        pass


@pytest.mark.slow
@pytest.mark.parametrize(
    "outage_s", telling([0.3, 5, 9.9, 61.7, 300], lambda outage_s: outage_s in (0.3, 9.9))
)
def test_a_camera_is_back_within_five_seconds_of_plugging_in(monkeypatch, outage_s):
    plug = Plug()
    monkeypatch.setattr(Camera, "_open", lambda self, camera: plug())
    with Fallback(
        Camera(0, levels="as is"), lambda t, d: np.zeros(d.picture_shape), fade_s=0
    ) as source:
        frames = source._first._frames

        def lit(time_s):
            bright = source(time_s, DISPLAY).all()
            reader, seen = frames._reader, frames._seen
            while reader and reader.newest()[1] <= seen and not reader.newest()[2]:
                reader.join(0.001)  # until its thread has got a frame, or has ended
            return bright

        assert [lit(tick / 10) for tick in range(50)][-1]
        plug.plugged = False
        shown = [lit(tick / 10) for tick in range(50, 50 + round(10 * outage_s))]
        plug.plugged = True
        begin = 50 + len(shown)
        waits = [lit(tick / 10) for tick in range(begin, begin + 150)]
    assert waits.index(True) <= 50
    assert all(waits[50:])
    if outage_s >= 5:
        assert not shown[-1]


def test_without_opencv_the_message_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "cv2", None)
    with pytest.raises(SourceError, match=r"pip install 'foreglow\[camera\]'"):
        Camera(0)


@pytest.mark.parametrize("ending", ["mp4", "h264", "avi"])  # the second cannot be wound back
def test_a_clip_of_one_frame_and_one_without_an_index_begin_again(tmp_path, ending):
    for frames in (1, 4):
        path = write_clip(tmp_path / f"{frames}.{ending}", FRAMES[:frames], 10)
        with Camera(path, levels="as is") as camera:
            for number in (0, 1, 2, 9, 3, 3, 0):
                # A raw stream does not contain its rate.
                time_s = number / (25 if ending == "h264" else 10)
                assert camera(time_s, DISPLAY) == seen(number % frames)


@pytest.mark.parametrize("content", [b"", b"no film"])
def test_a_file_that_is_no_clip_is_told(tmp_path, content):
    path = tmp_path / "none.mp4"
    path.write_bytes(content)
    with pytest.raises(SourceError, match="save it again"):
        Camera(path, levels="as is")


def test_one_channel_is_shown_as_grey(clip):
    with Camera(clip, levels="as is", channel="green") as camera:
        picture = camera(0.2, DISPLAY)
    assert picture == pytest.approx(
        np.repeat(fit(FRAMES[2], (8, 12))[..., 1:2], 3, axis=2), abs=NEAR
    )


def test_a_dim_room_uses_all_the_light_of_the_wall(tmp_path):
    dim = FRAMES // 4
    with Camera(write_clip(tmp_path / "dim.avi", dim, 10)) as camera:
        shown = camera(0.0, DISPLAY)
    assert shown.max() > 4 * fit(dim[0], (8, 12)).max()


@pytest.mark.parametrize(
    ("options", "words"),
    [({"levels": "high"}, "choice of levels"), ({"channel": "white"}, "choice of channel")],
)
def test_another_word_is_told_with_the_known_ones(clip, options, words):
    with pytest.raises(UnknownNameError, match=words):
        Camera(clip, **options)
