from __future__ import annotations

import contextlib
import struct
import sys
import warnings

import av
import numpy as np
import pytest
from PIL import Image

from emulator.errors import SourceError
from emulator.picture.clip import Clip, frames_of
from emulator.picture.fit import fit
from emulator.picture.srgb import linear_to_srgb
from tests.picture.media import moving_photo, wall, write_clip

DISPLAY = wall(12, 8)


@pytest.fixture(scope="module")
def levels(tmp_path_factory):
    """A clip of 50 plain frames at 10 frames/s; frame n is grey of code value 5 n."""
    path = tmp_path_factory.mktemp("clip") / "levels.mkv"
    frames = np.repeat(np.arange(50, dtype=np.uint8) * 5, 16 * 16 * 3).reshape(50, 16, 16, 3)
    return write_clip(path, frames, 10, "ffv1")


def number(clip, time_s):
    """Which frame of `levels` is shown."""
    code = 255 * float(linear_to_srgb(clip(time_s, DISPLAY)[4, 6, 0]))
    assert code / 5 == pytest.approx(round(code / 5), abs=0.05)
    return round(code / 5)


def test_each_frame_is_shown_at_its_own_time(levels):
    with Clip(levels) as clip:
        shown = [number(clip, t) for t in np.arange(0, 5, 0.05) + 1e-3]
    assert shown == [n // 2 for n in range(100)]


@pytest.mark.parametrize("kind", ["mkv", "mp4"])
def test_at_the_rate_of_the_wall_no_frame_is_missed_or_doubled(tmp_path, kind):
    frames = np.repeat(np.arange(50, dtype=np.uint8) * 5, 16 * 16 * 3).reshape(50, 16, 16, 3)
    codec = "ffv1" if kind == "mkv" else "libx264"
    with Clip(write_clip(tmp_path / f"a.{kind}", frames, 30, codec)) as clip:
        codes = [linear_to_srgb(clip(round(n * 1e9 / 30) / 1e9, DISPLAY)[4, 6]) for n in range(50)]
    assert (255 * np.array(codes).mean(axis=1) / 5).round().tolist() == list(range(50))


def test_time_may_jump_back_and_far_ahead(levels):
    with Clip(levels) as clip:
        times = [0.05, 4.95, 0.05, 2.55, 2.45, 2.55, 0.0, 4.75]
        assert [number(clip, t) for t in times] == [0, 49, 0, 25, 24, 25, 0, 47]


def test_after_the_end_it_begins_again(levels):
    with Clip(levels) as clip:
        assert [number(clip, t) for t in (4.95, 5.05, 12.55, 5000.15, -0.05)] == [49, 0, 25, 1, 49]


def test_a_clip_is_fitted_like_a_picture(tmp_path):
    path = write_clip(tmp_path / "a.mkv", moving_photo(3), 10, "ffv1")
    with Clip(path, how="whole", region=(0.25, 0, 0.5, 0.5)) as clip:
        expected = fit(moving_photo(3)[1], (8, 12), "whole", (0.25, 0, 0.5, 0.5))
        assert (clip(0.15, DISPLAY) == expected).all()


@pytest.mark.parametrize("kind", ["mp4", "mkv"])
def test_compressed_video_with_frames_between_key_frames_is_wound_exactly(tmp_path, kind):
    given = moving_photo(40)
    path = write_clip(tmp_path / f"a.{kind}", given, 20)
    with frames_of(path) as frames:
        assert frames.length_s == pytest.approx(2.0)
        for n in (*range(40), 39, 3, 38, 20, 19, 0, 25):
            assert frames.seek(n / 20 + 0.01) == pytest.approx(n / 20, abs=1e-3)
            error = np.abs(frames.frame().astype(int) - given[n]).mean()
            assert error < 4  # code values, lost in compression; a frame aside it is about 30


def test_pictures_of_unlike_length_are_shown_as_long_as_they_ask(tmp_path):
    pictures = [Image.new("RGB", (4, 4), (level,) * 3) for level in (10, 100, 200)]
    for name in ("a.gif", "a.png"):
        pictures[0].save(
            tmp_path / name, save_all=True, append_images=pictures[1:], duration=[100, 300, 200]
        )
        with Clip(tmp_path / name) as clip:
            codes = [
                round(255 * float(linear_to_srgb(clip(t, DISPLAY)[0, 0, 0])))
                for t in (0, 0.09, 0.11, 0.39, 0.41, 0.59, 0.61, 0.75)
            ]
        assert codes == [10, 10, 100, 100, 200, 200, 10, 100]


def test_pictures_without_a_length_are_shown_for_a_tenth_of_a_second(tmp_path):
    # Common practice, no source: players show a GIF that asks for no time at 10 frames/s.
    pictures = [Image.new("RGB", (4, 4), (level,) * 3) for level in (10, 100)]
    pictures[0].save(tmp_path / "a.gif", save_all=True, append_images=pictures[1:], duration=0)
    with frames_of(tmp_path / "a.gif") as frames:
        assert frames.length_s == pytest.approx(0.2)


def test_a_video_taken_upright_is_shown_upright(tmp_path):
    upright = moving_photo(1)[0].transpose(1, 0, 2)[:, ::-1].copy()  # 96 high, 64 wide
    path = write_clip(tmp_path / "a.mp4", np.rot90(upright)[None].copy(), 10)
    # ISO/IEC 14496-12, 8.3.2: the matrix of the track header turns what is shown; this one by
    # 90° clockwise (x' = -y, y' = x). It lies 40 bytes into a header of version 0.
    data = bytearray(path.read_bytes())
    matrix = data.index(b"tkhd") + 4 + 40
    assert data[matrix : matrix + 4] == struct.pack(">i", 1 << 16)
    one = 1 << 16
    data[matrix : matrix + 36] = struct.pack(">9i", 0, one, 0, -one, 0, 0, 64 * one, 0, 1 << 30)
    path.write_bytes(data)
    with frames_of(path) as frames:
        frames.seek(0)
        assert frames.frame().shape == upright.shape
        assert np.abs(frames.frame().astype(int) - upright).mean() < 4


@pytest.mark.parametrize(
    "content", [b"", b"no film", b"\0\0\0\x18ftypmp42" + bytes(100), b"GIF89a"]
)
def test_a_file_that_is_no_clip_is_told(tmp_path, content):
    (tmp_path / "a.mp4").write_bytes(content)
    with pytest.raises(SourceError, match=r"a\.mp4 cannot be played(.|\n)*Fix"):
        Clip(tmp_path / "a.mp4")


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(SourceError, match="there is no clip"):
        Clip(tmp_path / "a.mp4")


def test_a_cut_off_film_plays_as_far_as_it_goes(tmp_path):
    path = write_clip(tmp_path / "a.mkv", moving_photo(20), 10, "ffv1")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with Clip(path) as clip:
        pictures = [clip(t, DISPLAY) for t in np.arange(0, 2, 0.1)]
    assert (pictures[3] == fit(moving_photo(20)[3], (8, 12))).all()
    assert (pictures[-1] == pictures[-2]).all()


def test_sound_without_pictures_is_told(tmp_path):
    import wave

    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setparams((1, 2, 8000, 0, "NONE", ""))
        file.writeframes(bytes(1600))
    with pytest.raises(SourceError, match="no video"):
        Clip(tmp_path / "a.wav")


def test_without_pyav_the_message_says_what_to_install(levels, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(SourceError, match=r"pip install 'foreglow\[video\]'"):
        Clip(levels)


def test_a_clip_that_does_not_say_how_long_it_is_plays_to_its_last_frame(levels, tmp_path):
    """As browsers record: RFC 9559, Duration (ID 4489) becomes a Void element (EC) of that size."""
    whole = levels.read_bytes()
    assert whole.count(b"\x44\x89\x88") == 1  # ID, and eight bytes of it
    path = tmp_path / "endless.mkv"
    path.write_bytes(whole.replace(b"\x44\x89\x88", b"\xec\x89\x88"))
    with Clip(path) as clip:
        assert [number(clip, t) for t in (0.05, 4.95, 5.05, 12.55)] == [0, 49, 0, 25]


def test_a_clip_cut_from_a_longer_one_begins_again_after_its_own_length(tmp_path):
    path = tmp_path / "cut.mkv"
    with av.open(str(path), "w") as file:
        stream = file.add_stream("ffv1", rate=10)
        stream.width, stream.height, stream.pix_fmt = 16, 16, "bgr0"
        for n in range(4):
            grey = np.full((16, 16, 3), 5 * n, dtype=np.uint8)
            frame = av.VideoFrame.from_ndarray(grey, format="rgb24")
            frame.pts = 100 + n  # tenths of a second
            file.mux(stream.encode(frame))
        file.mux(stream.encode())
    with Clip(path) as clip:
        assert [number(clip, t) for t in (0.05, 0.35, 0.45, 0.75)] == [0, 3, 0, 3]


def test_a_title_in_another_encoding_is_no_reason_not_to_play(levels, tmp_path):
    path = tmp_path / "title.mkv"
    with av.open(str(path), "w") as file:
        file.metadata["title"] = "Faehre"
        stream = file.add_stream("ffv1", rate=10)
        stream.width, stream.height, stream.pix_fmt = 16, 16, "bgr0"
        frame = av.VideoFrame.from_ndarray(np.zeros((16, 16, 3), np.uint8), format="rgb24")
        file.mux(stream.encode(frame))
        file.mux(stream.encode())
    path.write_bytes(path.read_bytes().replace(b"Faehre", "F\xe4hre\0".encode("latin-1")))
    with Clip(path) as clip:
        assert number(clip, 0) == 0


@pytest.mark.parametrize("form", ["GIF", "PNG", "WEBP"])
def test_a_spoilt_animation_is_played_or_told(tmp_path, form):
    path, chance = tmp_path / "moving", np.random.default_rng(7)
    images = [Image.fromarray(chance.integers(0, 256, (9, 11, 3), np.uint8)) for _ in range(3)]
    images[0].save(path, format=form, save_all=True, append_images=images[1:], duration=50)
    whole = path.read_bytes()
    for _ in range(60):
        spoilt = bytearray(whole[: chance.integers(1, len(whole) + 1)])
        for place in chance.integers(0, len(spoilt), 3):
            spoilt[place] = chance.integers(256)
        path.write_bytes(spoilt)
        with contextlib.suppress(SourceError), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of some that it reads
            with Clip(path) as clip:
                for time_s in (0.0, 0.06, 0.12):
                    clip(time_s, DISPLAY)
