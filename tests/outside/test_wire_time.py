"""Wire time against the arithmetic of the trade.

Common practice, no source: 800 kbit/s is 1.25 µs a bit, 24 bits 30 µs an LED; a 24 × 24 grid is
576 LEDs; their frame takes 17.28 ms and the reset, so fewer than 58 frames a second.
"""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, load_display
from harness.checks.check import run_checks
from harness.subject.subject import own_code
from harness.subject.trial import Trial


@pytest.fixture
def wall(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text("[grid]\ncolumns = 24\nrows = 24\n[chip]\npart = 'WS2812B'\n[wiring]\n")
    return load_display(path)


def test_a_grid_of_24_by_24_has_576_leds(wall):
    assert wall.leds == 576


def test_a_frame_of_576_leds_takes_17_28_ms_and_the_reset(wall):
    sent = Bench(wall).send(np.zeros((24, 24, 3), np.uint8))
    assert sent.wire_ns == 17_280_000
    assert sent.ready_ns - sent.starts_ns == 17_280_000 + 50_000  # reset: WS2812B datasheet
    # tPLZ of the same: each LED passes the data on up to 300 ns late, so the last sees them later.
    assert sent.latched_ns - sent.ready_ns == 575 * 300


def test_fewer_than_58_frames_a_second_fit(wall):
    report = run_checks(Trial(wall, own_code(wall)), ("wire",))
    assert 57 < report.results[0].figures["fastest_frames_per_s"] < 58


def test_an_rgbw_led_takes_a_third_longer(tmp_path):
    # SK6812RGBW datasheet: 32 bits an LED, against the SK6812's 24.
    times = []
    for part in ("SK6812", "SK6812-RGBW"):
        path = tmp_path / f"{part}.toml"
        path.write_text(f"[grid]\ncolumns=9\nrows=1\n[chip]\npart='{part}'\n[wiring]\n")
        times.append(Bench(load_display(path)).send(np.zeros((1, 9, 3), np.uint8)).wire_ns)
    assert times[1] * 3 == times[0] * 4
