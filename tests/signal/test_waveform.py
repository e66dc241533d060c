"""Waveforms: their rules, samples to edges, levels, and glitches."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.errors import CaptureError
from emulator.signal.waveform import Waveform, from_samples

samples = st.lists(st.integers(0, 1), min_size=1, max_size=60)


def wave(edges: list[int], first: bool = False, start: int = 0, end: int = 1000) -> Waveform:
    return Waveform(np.array(edges, dtype=np.int64), first, start, end)


@pytest.mark.parametrize(
    ("edges", "start", "end"),
    [([5, 5], 0, 9), ([5, 4], 0, 9), ([5], 6, 9), ([5], 0, 4), ([], 1, 0)],
)
def test_edges_must_rise_and_lie_within_the_covered_time(
    edges: list[int], start: int, end: int
) -> None:
    with pytest.raises(CaptureError, match="Fix"):
        wave(edges, start=start, end=end)


def test_edges_must_be_int64_and_the_step_at_least_1() -> None:
    with pytest.raises(CaptureError, match="float64"):
        Waveform(np.array([1.0]), False, 0, 2)
    with pytest.raises(CaptureError, match="at least 1 ns"):
        Waveform(np.array([1]), False, 0, 2, resolution_ns=0)


def test_pulses_cut_by_the_ends_are_left_out() -> None:
    line = wave([10, 20, 30, 40], first=True)  # high until 10, a pulse 20 to 30, high from 40
    rises, falls = line.pulses()
    assert (rises.tolist(), falls.tolist()) == ([20], [30])
    assert line.rises_ns.tolist() == [20, 40]
    assert line.falls_ns.tolist() == [10, 30]
    assert line.last_level


@given(samples, st.integers(1, 500), st.integers(-1000, 1000))
def test_samples_give_the_level_of_every_sample_back(
    levels: list[int], step: int, start: int
) -> None:
    line = from_samples(np.array(levels, dtype=np.uint8), step, start)
    times = start + step * np.arange(len(levels))
    assert line.levels_before(times + 1).tolist() == levels
    assert (line.start_ns, line.end_ns) == (start, start + step * len(levels))
    assert line.resolution_ns == step


def test_any_value_but_0_is_high() -> None:
    line = from_samples(np.array([0, 1, 255, 7, 0], dtype=np.uint8), 10)
    assert line.edges_ns.tolist() == [10, 40]


@pytest.mark.parametrize("bad", [np.zeros(0, np.uint8), np.zeros((2, 2), np.uint8), np.zeros(3)])
def test_other_samples_are_refused(bad: np.ndarray) -> None:
    with pytest.raises(CaptureError, match="Fix"):
        from_samples(bad, 1)


@given(st.lists(st.integers(1, 20), max_size=40), st.booleans())
def test_glitches_go_in_pairs_from_left_to_right(steps: list[int], first: bool) -> None:
    edges = np.cumsum(steps, dtype=np.int64)
    line = Waveform(edges, first, 0, 1000)
    seen, count, i = [], 0, 0
    while i < len(edges):  # the rule of the docstring, one edge at a time
        if i + 1 < len(edges) and edges[i + 1] - edges[i] < 8:
            count, i = count + 1, i + 2
        else:
            seen.append(int(edges[i]))
            i += 1
    clean, glitches = line.without_glitches(8)
    assert (clean.edges_ns.tolist(), glitches) == (seen, count)
    assert clean.last_level == line.last_level
