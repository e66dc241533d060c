"""MP4 films of recordings: their times, sizes and colours, and failures to make one."""

from __future__ import annotations

import builtins
import subprocess
import sys
import tracemalloc
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from emulator import WriteError, load_display
from emulator.errors import RecordingError
from emulator.recording import movie
from emulator.recording.export import export
from tests.recording.recorded import FOYER, colours, recorded, red_green_blue
from tests.tables import telling

ROOT = Path(__file__).parents[2]


@pytest.fixture
def three(tmp_path):
    return red_green_blue(tmp_path / "rec")


def film(path):
    """(codec, pictures RGB, [(from, to) in s]) of an MP4, as PyAV reads it."""
    pictures, times = [], []
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        for frame in container.decode(stream):
            pictures.append(frame.to_ndarray(format="rgb24").astype(int))
            times.append((frame.pts * frame.time_base, (frame.pts + frame.duration) *
                          frame.time_base))  # fmt: skip
        return stream.codec_context.name, pictures, times


@pytest.mark.parametrize("kind", ["light", "drives"])
def test_a_film_shows_each_frame_exactly_as_long_as_the_wall_did(tmp_path, three, kind):
    export(three, tmp_path / "clip.mp4", kind=kind)
    codec, pictures, times = film(tmp_path / "clip.mp4")
    assert codec == "h264"
    assert times == [(0, Fraction(1, 10)), (Fraction(1, 10), Fraction(3, 10)),
                     (Fraction(3, 10), Fraction(9, 20))]  # fmt: skip
    for picture, channel in zip(pictures, range(3), strict=True):
        assert picture.shape == (200, 360, 3)
        assert picture[45, 105].argmax() == channel
        assert picture[95, 175].max() < 25, "the speaker in the middle is dark"


def test_uneven_times_are_kept_to_the_microsecond_and_do_not_drift(tmp_path):
    gaps_ms = np.random.default_rng(2).integers(1_000, 90_000_000, 60) / 1e6
    times_ms = np.concatenate([[0], np.cumsum(gaps_ms)])
    found = recorded(tmp_path / "rec", colours(*[(4 * n, 0, 0) for n in range(61)]), times_ms)
    export(found, tmp_path / "clip.mp4", kind="drives", pixels_wide=72)
    _, _, times = film(tmp_path / "clip.mp4")
    begins_ns = np.array([round(begin * 10**9) for begin, _ in times])
    assert np.abs(begins_ns - found.times_ns).max() <= 500
    assert [end for _, end in times[:-1]] == [begin for begin, _ in times[1:]]


def test_odd_sizes_get_a_dark_column_and_row_and_lose_none(tmp_path):
    sign = load_display("sign")  # 16 by 8 cells
    found = recorded(tmp_path / "rec", np.full((1, sign.leds, 4), 31, np.uint8), [0], sign)
    odd = np.full((9, 15, 3), 200, np.uint8)
    by = movie.encoder()
    movie.write_movie(tmp_path / "odd.mp4", [odd], np.array([0, 5]), (15, 9), by)
    (picture,) = film(tmp_path / "odd.mp4")[1]
    assert picture.shape == (10, 16, 3)
    assert picture[:8, :14] == pytest.approx(200, abs=6)
    assert picture[-1].max() < 40
    assert picture[:, -1].max() < 40
    export(found, tmp_path / "tiny.mp4", kind="drives", pixels_wide=16)
    assert film(tmp_path / "tiny.mp4")[1][0].shape == (8, 16, 3)


def test_a_span_of_a_film_lasts_just_that_long(tmp_path, three):
    export(three, tmp_path / "part.mp4", from_s=0.05, to_s=0.35)
    _, pictures, times = film(tmp_path / "part.mp4")
    assert [picture[45, 105].argmax() for picture in pictures] == [0, 1, 2]
    assert [round(end * 1000) for _, end in times] == [50, 250, 300]


def test_mpeg_4_is_written_where_the_library_has_no_h_264(tmp_path, three, monkeypatch):
    monkeypatch.setattr(movie, "_ENCODERS", (movie.Encoder("none", 1, {}), *movie._ENCODERS[1:]))
    export(three, tmp_path / "clip.mp4", kind="drives")
    codec, pictures, times = film(tmp_path / "clip.mp4")
    assert codec == "mpeg4"
    assert [float(end) for _, end in times] == [0.1, 0.3, 0.45]
    for picture, channel in zip(pictures, range(3), strict=True):
        assert picture[45, 105, channel] == pytest.approx(200, abs=8)
    monkeypatch.setattr(movie, "_ENCODERS", (movie.Encoder("none", 1, {}),))
    with pytest.raises(RecordingError, match="no encoder of none"):
        export(three, tmp_path / "clip.mp4")


def test_without_pyav_the_extra_is_named(tmp_path, three, monkeypatch):
    real = builtins.__import__

    def missing(name, *rest):
        if name.split(".")[0] == "av":
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(RecordingError, match=r"pip install 'foreglow\[video\]'"):
        export(three, tmp_path / "clip.mp4")
    assert [p.name for p in tmp_path.iterdir()] == ["rec"]


def test_what_the_encoder_cannot_take_is_told_and_leaves_nothing(tmp_path):
    with pytest.raises(RecordingError, match="20000 × 2 pixels"):
        movie.write_movie(tmp_path / "a.mp4", [], np.array([0]), (20_000, 2), movie.encoder())


class BreaksOff(Exception):
    pass


@pytest.mark.parametrize("form", ["mp4", "gif", "csv"])
def test_an_export_that_breaks_off_leaves_what_was_there(tmp_path, three, form):
    def broken(numbers):
        yield numbers[0]
        raise BreaksOff

    path = tmp_path / f"clip.{form}"
    path.write_text("before")
    with pytest.raises(BreaksOff):
        export(three, path, watch=broken)
    assert path.read_text() == "before"
    assert sorted(p.name for p in tmp_path.iterdir()) == [path.name, "rec"]


# The kernel refuses to let any file of this process grow beyond the limit, as a full disk does.
FULL = """
import resource, signal, sys
from emulator import WriteError
from emulator.recording.export import export
from emulator.recording.recording import load_recording
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (3000, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
try:
    export(load_recording(sys.argv[1]), sys.argv[2], kind="drives")
except WriteError as error:
    print(error)
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    "form", telling(["mp4", "gif", "png", "npz", "csv"], lambda form: form in ("mp4", "npz"))
)
def test_a_full_disk_is_told_and_leaves_nothing(tmp_path, form):
    noise = np.random.default_rng(1).integers(0, 256, (30, FOYER.leds, 3), np.uint8)
    recorded(tmp_path / "rec", noise, np.arange(30) * 40)
    words = [sys.executable, "-c", FULL, str(tmp_path / "rec"), str(tmp_path / f"clip.{form}")]
    ran = subprocess.run(words, capture_output=True, text=True, cwd=ROOT, check=True)
    assert "cannot be written" in ran.stdout
    assert "Fix" in ran.stdout
    assert [p.name for p in tmp_path.iterdir()] == ["rec"]


def test_a_folder_that_cannot_be_written_to_is_told(tmp_path, three):
    (tmp_path / "file").write_text("")
    with pytest.raises(WriteError, match="Fix"):
        export(three, tmp_path / "file" / "clip.mp4")


@pytest.mark.parametrize(
    ("form", "short", "long"),
    telling(
        [("mp4", 400, 1200), ("npz", 400, 1200), ("csv", 80, 240)], lambda row: row[0] == "npz"
    ),
)
def test_a_long_recording_takes_no_more_memory_than_a_short_one(tmp_path, form, short, long):
    sign = load_display("sign")

    def most(count):
        drives = colours(*[(n % 251, 0, 0, 31) for n in range(count)], display=sign)
        found = recorded(tmp_path / f"{count}", drives, np.arange(count) * 25, sign)
        tracemalloc.start()  # sees what numpy takes, not the encoder
        try:
            export(found, tmp_path / f"clip.{form}", kind="drives", pixels_wide=36)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    most(2)  # imports what it needs
    # A frame has 512 bytes of drives. Its time has 8, in a few arrays.
    assert most(long) < most(short) + 256 * (long - short)
