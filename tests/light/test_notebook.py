"""What Jupyter asks of an object to show it: well-formed HTML, a PNG of a picture."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from emulator import Bench, PictureError, Recorder, load_display
from emulator.light.still import PAGE, still
from emulator.recording.disk import DiskRecorder
from emulator.recording.recording import load_recording


def test_a_display_shows_its_facts_and_escapes_what_the_user_wrote():
    foyer = replace(load_display("foyer"), name="<b>", about="Tom & <i>Jerry</i>")
    table = ET.fromstring(foyer._repr_html_())
    assert table.find("caption").text == "<b>"
    facts = {row.find("th").text: row.find("td").text for row in table.iter("tr")}
    assert facts["about"] == "Tom & <i>Jerry</i>"
    assert facts["grid"] == "36 columns × 20 rows, 716 LEDs WS2812B-V5"
    assert facts["size"].startswith("1200 × 667 mm")
    assert facts["cover"] == "25 mm deep, white walls"


def test_a_recording_shows_its_length_and_a_curve():
    recorder = Recorder(4, 3)
    assert "no frame yet" in recorder._repr_html_()
    for number in range(1000):
        recorder.append(number * 40_000_000, np.full((4, 3), number // 4, np.uint8))
    html = ET.fromstring(f"<div>{recorder._repr_html_()}</div>")
    assert "1000 frames, 0.000 to 39.960 s, 4 LEDs × 3 channels" in html.find("p").text
    pairs = html.find("svg/polyline").get("points").split()
    points = [tuple(map(float, pair.split(","))) for pair in pairs]
    assert 2 < len(points) <= 480
    assert points[0] == (0, 60)
    assert points[-1][0] == 480
    assert points[-1][1] < 2
    assert (np.diff([y for _, y in points]) <= 0).all(), "a rising drive is a rising curve"


def test_frames_all_at_one_moment_still_show():
    recorder = Recorder(1, 3)
    recorder.append(5, np.zeros((1, 3), np.uint8))
    assert "1 frames" in recorder._repr_html_()


def test_a_still_shows_itself_as_a_png():
    foyer = load_display("foyer")
    shown = still(foyer, np.zeros(foyer.picture_shape, np.float32), 180)._repr_png_()
    with Image.open(io.BytesIO(shown)) as image:
        assert image.size == (180, 100)


def pixels(png: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(png)) as image:
        assert (image.format, image.mode) == ("PNG", "RGB")
        return np.asarray(image).astype(int)


def test_a_bench_shows_the_wall_as_it_looks_now():
    foyer = load_display("foyer")
    bench = Bench(foyer)
    assert pixels(bench._repr_png_()).max() == 0
    picture = np.zeros(foyer.picture_shape, np.uint8)
    picture[:, :18, 0] = 255
    bench.send(picture)
    shown = pixels(bench._repr_png_())
    assert shown.shape == (400, 720, 3)
    red, green, blue = shown[200, 90]
    assert red > 150
    assert max(green, blue) < red / 3
    assert shown[200, 630].max() == 0
    bench.send(np.zeros(foyer.picture_shape, np.uint8))
    assert pixels(bench._repr_png_()).max() == 0


def test_a_tall_wall_is_no_tower_in_the_notebook():
    banner = load_display("banner")
    assert banner.picture_shape[0] > 2 * banner.picture_shape[1]
    assert pixels(Bench(banner)._repr_png_()).shape == (720, 120, 3)


def test_a_recording_shows_its_frames_on_a_contact_sheet(tmp_path):
    foyer = load_display("foyer")
    with DiskRecorder(tmp_path / "rec", foyer) as recorder:
        for number, colour in enumerate(([255, 0, 0], [0, 255, 0], [0, 0, 255])):
            recorder.append(number * 10**9, np.tile(np.array(colour, np.uint8), (foyer.leds, 1)))
    shown = pixels(load_recording(tmp_path / "rec")._repr_png_())
    assert tuple(shown[0, 0]) == PAGE
    # Two tiles in a row, in reading order: where a colour is far above the other two.
    others = [np.delete(shown, colour, axis=2).max(axis=2) for colour in range(3)]
    (_, red_x), (_, green_x), (blue_y, blue_x) = (
        np.argwhere(shown[..., colour] > others[colour] + 60).mean(axis=0) for colour in range(3)
    )
    high, wide, _ = shown.shape
    assert red_x < wide / 2 < green_x
    assert blue_x == pytest.approx(red_x, abs=wide / 20)
    assert blue_y > high / 2


def test_a_recording_without_frames_or_display_shows_no_picture(tmp_path):
    foyer = load_display("foyer")
    with DiskRecorder(tmp_path / "empty", foyer):
        pass
    assert load_recording(tmp_path / "empty")._repr_png_() is None
    gone = replace(foyer, name="gone", path=tmp_path / "gone.toml")
    with DiskRecorder(tmp_path / "gone", gone) as recorder:
        recorder.append(0, np.zeros((foyer.leds, 3), np.uint8))
    assert load_recording(tmp_path / "gone")._repr_png_() is None


def test_a_still_takes_a_picture_as_it_is_sent():
    foyer = load_display("foyer")
    codes = np.random.default_rng(4).integers(0, 256, foyer.picture_shape, dtype=np.uint8)
    bench = Bench(foyer)
    bench.send(codes)
    sent, seen = still(foyer, codes, 360), still(foyer, bench.picture, 360)
    # The bench has rounded to 8 bits of light: much in the dark, little elsewhere.
    assert np.abs(np.asarray(sent).astype(int) - np.asarray(seen)).mean() < 1
    assert np.asarray(sent).max() > 200


@pytest.mark.parametrize("kind", [np.uint8, np.float32])
def test_a_still_of_another_shape_says_which_is_needed(kind):
    with pytest.raises(PictureError, match=r"\(20, 36, 3\)[\s\S]*Fix"):
        still(load_display("foyer"), np.zeros((36, 20, 3), kind))
