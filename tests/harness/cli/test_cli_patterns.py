"""`foreglow record` and `foreglow run` with a pattern: for how long, and how fast."""

from __future__ import annotations

import pytest

from emulator import load_display
from emulator.recording.recording import load_recording
from harness.patterns.pattern import PATTERNS
from harness.show import perform

WALL = '[grid]\ncolumns = 4\nrows = 2\n[chip]\npart = "WS2812B"\n[wiring]\n'


@pytest.fixture(autouse=True)
def wall(tmp_path):
    (tmp_path / "wall.toml").write_text(WALL)
    return tmp_path


def recorded_s(folder):
    """From the first frame to the last."""
    times_ns = load_recording(folder).times_ns
    return (times_ns[-1] - times_ns[0]) / 1e9


@pytest.mark.parametrize(
    ("words", "lasts_s"),
    [(("coded-film",), None), (("coded-film", "--seconds", "1"), 1.0), (("corners",), 10.0)],
)
def test_record_takes_all_of_a_pattern_or_ten_seconds(foreglow, wall, words, lasts_s):
    if lasts_s is None:
        lasts_s = PATTERNS["coded-film"].lasts_s(load_display(wall / "wall.toml"))
        assert lasts_s > 10
    assert foreglow("record", "wall.toml", *words, "-o", "rec")[0] == 0
    assert recorded_s(wall / "rec") == pytest.approx(lasts_s, abs=0.1)


def test_run_plays_as_many_pictures_a_second_as_you_ask_for(foreglow, monkeypatch):
    bills = []
    monkeypatch.setattr(perform, "perform", lambda bill, shown: not bills.append(bill))
    assert foreglow("run", "wall.toml", "coded-film", "--pace", "2", "--to", "memory:")[0] == 0
    assert foreglow("run", "wall.toml", "coded-film", "--to", "memory:")[0] == 0
    hold_s = PATTERNS["coded-film"].hold_ms / 1000
    assert [bill.speed / hold_s for bill in bills] == pytest.approx([2, 1 / hold_s])


def test_a_scene_has_no_pace(foreglow):
    status, out, err = foreglow("run", "wall.toml", "aurora", "--pace", "2", "--to", "memory:")
    assert (status, out) == (2, "")
    assert "--pace is for patterns" in err
