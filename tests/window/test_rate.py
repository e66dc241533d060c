"""Frames a second over the last second."""

from __future__ import annotations

import pytest

from emulator.view.rate import Rate

PERIOD_NS = 40_000_000


def test_25_frames_a_second_read_as_25():
    rate = Rate()
    for number in range(100):
        rate.count(number * PERIOD_NS)
    assert rate.at(99 * PERIOD_NS) == pytest.approx(25)


def test_only_the_last_second_counts():
    rate = Rate()
    for number in range(100):
        rate.count(number * PERIOD_NS)
    start = 100 * PERIOD_NS
    for number in range(100):
        rate.count(start + number * 2 * PERIOD_NS)
    assert rate.at(start + 198 * PERIOD_NS) == pytest.approx(12.5)


def test_nothing_is_known_before_the_second_frame_nor_after_a_pause():
    rate = Rate()
    assert rate.at(0) is None
    rate.count(0)
    assert rate.at(0) is None
    rate.count(PERIOD_NS)
    assert rate.at(PERIOD_NS) == pytest.approx(25)
    assert rate.at(PERIOD_NS + 1_000_000_001) is None
    rate.forget()
    assert rate.at(PERIOD_NS) is None
