"""Whole frames of all lines, taken at once: as if each strip took its own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from emulator.lines import Lines
from emulator.strip import Strip
from tests.tables import telling


def _wall(part: str):
    return parse_display(
        f'[grid]\ncolumns = 5\nrows = 6\n[chip]\npart = "{part}"\n[wiring]\nlines = 3\n',
        Path("wall.toml"),
    )


@pytest.mark.parametrize(
    ("part", "seed"),
    telling(
        [
            (part, seed)
            for part in ("WS2812B", "SK6812-RGBW", "APA102", "LPD8806")
            for seed in range(5)
        ],
        lambda case: case[1] == 0,
    ),
)
def test_frames_taken_at_once_are_those_of_each_strip(part, seed):
    rng = np.random.default_rng(seed)
    display = _wall(part)
    chip, leds = display.chip, display.wiring.line_lengths
    lines = Lines(display, 1e6)
    each = [Strip(chip, count, 1e6) for count in leds]
    at_ns = 0
    for _ in range(60):
        sizes = [count * chip.bytes_per_led for count in leds]
        if rng.random() < 0.2:  # too short, too long, or nothing for a line
            sizes[rng.integers(len(sizes))] += int(rng.choice([-4, -1, 1, 7, -sizes[0]]))
        data = [rng.integers(0, 256, max(size, 0), np.uint8) for size in sizes]
        begins_ns = [at_ns] * 3
        if rng.random() < 0.3:
            begins_ns = (at_ns + rng.integers(0, 100_000, 3)).tolist()
        found = lines.receive(data, begins_ns)
        wanted = [strip.receive(*one) for strip, *one in zip(each, data, begins_ns, strict=True)]
        assert list(found) == wanted
        ends_ns = max(one.ends_ns for one in wanted)
        for time_ns in ends_ns + rng.integers(0, 700_000, 3):
            shown = [strip.frame_at(int(time_ns)) for strip in each]
            assert (lines.frame_at(int(time_ns)) == np.concatenate(shown)).all()
        if rng.random() < 0.3:
            time_ns = ends_ns + int(rng.integers(0, 700_000))
            for mine, theirs in zip(lines.strips, each, strict=True):
                assert (mine.drives_at(time_ns) == theirs.drives_at(time_ns)).all()
                assert mine.goes_on_at(time_ns) == theirs.goes_on_at(time_ns)
        at_ns = ends_ns + int(rng.choice([0, 10_000, 300_000, 500_000]))


def test_the_strips_take_frames_only_when_somebody_looks(monkeypatch):
    display = _wall("WS2812B")
    lines, taken = Lines(display, 1e6), []
    receive = Strip.receive
    monkeypatch.setattr(Strip, "receive", lambda *given: taken.append(given) or receive(*given))
    for number in range(50):
        data = [np.full(count * 3, number, np.uint8) for count in display.wiring.line_lengths]
        lines.receive(data, [number * 10_000_000] * 3)
    assert not taken
    assert (lines.strips[1].latched == 49).all()
    assert len(taken) <= 2 * 3, "two frames at most: the one before may still be latching"
