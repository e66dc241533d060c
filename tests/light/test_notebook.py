"""What Jupyter asks of an object to show it: well-formed HTML, a PNG of a picture."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
from PIL import Image

from emulator import Recorder, load_display
from emulator.light.still import still


def test_a_display_shows_its_facts_and_escapes_what_the_user_wrote():
    foyer = replace(load_display("foyer"), name="<b>", about="Tom & <i>Jerry</i>")
    table = ET.fromstring(foyer._repr_html_())
    assert table.find("caption").text == "<b>"
    facts = {row.find("th").text: row.find("td").text for row in table.iter("tr")}
    assert facts["about"] == "Tom & <i>Jerry</i>"
    assert facts["grid"] == "36 columns × 20 rows, 716 LEDs"
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
