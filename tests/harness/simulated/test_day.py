"""`--now`: what a schedule shows at the hour it is made for."""

from __future__ import annotations

import datetime
import time

import numpy as np
import pytest
from PIL import Image

from emulator import ForeglowError, SimulatedClock, load_recording
from emulator.window import WallWindow
from harness.simulated.day import day_from, moment
from tests.tables import telling

# Bright from seven in the evening on: a function, a Schedule, by time and by datetime.
BY_DATETIME = """
import datetime
import numpy as np
def picture(time_s, display):
    return np.full(display.picture_shape, float(datetime.datetime.now().hour >= 19))
"""
BY_TIME = """
from time import localtime
import numpy as np
def picture(time_s, display):
    return np.full(display.picture_shape, float(localtime().tm_hour >= 19))
"""
BY_SCHEDULE = """
import numpy as np
from emulator.picture.mix import Schedule
picture = Schedule({
    "10:00": lambda time_s, display: np.zeros(display.picture_shape),
    "19:00": lambda time_s, display: np.ones(display.picture_shape),
}, fade_s=0)
"""


@pytest.fixture(
    params=telling([BY_DATETIME, BY_TIME, BY_SCHEDULE], lambda scene: scene is not BY_TIME)
)
def scene(request, tmp_path):
    (tmp_path / "sched.py").write_text(request.param)
    return "sched.py"


def test_render_shows_the_moment(foreglow, scene, tmp_path):
    for now, at, lit in [("18:59:58", 1, False), ("18:59:58", 2, True), ("21:00", 0, True)]:
        words = ("--now", f"2026-12-24T{now}", "--at", f"{at}s", "--width", 64, "-o", "wall.png")
        status, _, err = foreglow("render", "sign", scene, *words)
        assert (status, err) == (0, "")
        assert (np.asarray(Image.open(tmp_path / "wall.png")).mean() > 60) == lit


def test_record_goes_through_the_evening(foreglow, scene, tmp_path):
    words = ("--now", "2026-12-24T18:59:59.5", "--seconds", 1, "-o", "rec")
    assert foreglow("record", "sign", scene, *words)[0] == 0
    recording = load_recording(tmp_path / "rec")
    lit = [bool(recording.drives[n][:, 0].any()) for n in range(len(recording))]
    assert lit == sorted(lit)
    assert 0 < sum(lit) < len(lit)


@pytest.mark.slow
def test_the_window_shows_it_by_the_time_of_its_show(foreglow, scene, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    lit = []
    run = WallWindow.run

    def short(window, frames=None):
        run(window, frames=40)
        lit.extend(window.bench.frames[:, :, 0].any(axis=1).tolist())

    monkeypatch.setattr(WallWindow, "run", short)
    words = ("--simulated", "--width", 160, "--now", "2026-12-24T18:59:59.5")
    assert foreglow("view", "sign", scene, *words)[0] == 0
    assert lit == sorted(lit)
    assert 0 < sum(lit) < len(lit)


def test_soak_begins_at_it(foreglow, tmp_path):
    (tmp_path / "told.py").write_text(
        "import datetime\n"
        "import numpy as np\n"
        "def picture(time_s, display):\n"
        "    with open('seen', 'a') as file:\n"
        "        print(datetime.datetime.now(), file=file)\n"
        "    return np.zeros(display.picture_shape)\n"
    )
    words = ("--hours", 0.002, "--fault", "none", "--now", "2026-12-24T18:59:57")
    assert foreglow("soak", "sign", "told.py", *words)[0] in (0, 1)
    seen = (tmp_path / "seen").read_text().splitlines()
    assert seen[0].startswith("2026-12-24 18:59:57")
    assert seen[-1].startswith("2026-12-24 19:00:0")


@pytest.mark.parametrize("text", ["tonight", "", "2026-13-01T00:00", "99999-01-01T00:00"])
def test_what_is_no_time_of_day_is_told(foreglow, text):
    with pytest.raises(ForeglowError, match="is not a valid time of day"):
        moment(text)
    status, _, err = foreglow("render", "sign", "--now", text, "-o", "wall.png")
    assert status == 2
    assert "Fix: write 2026-12-24T19:00" in err


def test_afterwards_it_is_what_it_was():
    before = time.time()
    clock = SimulatedClock()
    with day_from("2020-02-29T12:00", clock):
        clock.wait_until(60 * 10**9)
        assert datetime.datetime.now() == datetime.datetime(2020, 2, 29, 12, 1)
    assert time.time() >= before
    with day_from(None, clock):
        assert time.time() >= before
