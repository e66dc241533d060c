from __future__ import annotations

import datetime
import time
from itertools import pairwise
from math import atan2, pi

import numpy as np
import pytest

from emulator import load_display
from emulator.clock import time_of_day_s
from emulator.errors import UnknownNameError
from emulator.picture.dial import Dial, digits, figures, hands
from emulator.picture.text import letters
from tests.picture.media import wall


def second(text):
    return (
        datetime.datetime.fromisoformat(f"2026-01-01 {text}") - datetime.datetime(2026, 1, 1)
    ) / (datetime.timedelta(seconds=1))


# 2026-03-29 and 2026-10-25: clocks change in Central Europe (European Union, directive 2000/84/EC)
@pytest.mark.parametrize("zone", ["UTC0", "CET-1CEST,M3.5.0,M10.5.0/3", "NST3:30"])
@pytest.mark.parametrize(
    "epoch_s", [0.0, 1767290400.25, 1774744200.0, 1774747800.0, 1792890000.5, 1792893600.0]
)
def test_the_time_of_day_is_what_the_standard_library_says(monkeypatch, zone, epoch_s):
    with monkeypatch.context() as patch:
        patch.setenv("TZ", zone)
        time.tzset()
        patch.setattr(time, "time", lambda: epoch_s)
        now = datetime.datetime.fromtimestamp(epoch_s)
        expected = now.hour * 3600 + now.minute * 60 + now.second + now.microsecond / 1e6
        assert time_of_day_s() == pytest.approx(expected, abs=1e-6)
    time.tzset()


@pytest.mark.parametrize("clock", ["00:00:00", "09:05:59", "19:30:00", "23:59:59"])
def test_digits_are_hours_and_minutes_in_the_middle(clock):
    display = wall(60, 20)
    lit = digits(second(clock), display)
    before, after = figures(clock[:2]), figures(clock[3:5])
    height, width = before.shape
    top, left = (20 - height) // 2, (60 - 2 * width - 5) // 2
    hours, minutes = lit[top:, left:][:height, :width], lit[top:, left + width + 5 :]
    assert (hours == before).all()
    assert (minutes[:height, :width] == after).all()
    assert lit.sum() == before.sum() + after.sum() + 8  # two dots of 2 × 2


def test_the_colon_is_the_same_upside_down_and_stands_in_the_middle():
    lit = digits(second("00:00"), wall(60, 20))  # zeros are the same upside down, too
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    ink = lit[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    assert (ink == ink[::-1]).all()
    assert (ink == ink[:, ::-1]).all()
    middle = ink.shape[1] // 2
    colon = ink[:, middle - 2 : middle + 2]
    assert colon.any(axis=1).tolist() == [False, True, True, False, True, True, False]
    assert colon.any(axis=0).tolist() == [False, True, True, False]


def test_digits_stack_where_the_wall_is_narrow():
    lit = digits(second("19:30"), wall(14, 30))
    assert lit.sum() == figures("19").sum() + figures("30").sum()
    banner = load_display("banner")
    assert digits(second("19:30"), banner).sum() == figures("1930").sum()


def test_hours_and_minutes_take_turns_where_there_is_no_room():
    display = wall(14, 12)
    shown = [digits(second(f"19:30:0{s}"), display).sum() for s in range(4)]
    assert shown == [letters("19").sum()] * 2 + [letters("30").sum()] * 2


def angles(lit, inner, outer, centre, aspect=1.0):
    """The clock angles (turns from the top) of the light between two radii."""
    rows, columns = np.nonzero(lit > 0.6)
    x, y = columns + 0.5 - centre[0], (rows + 0.5 - centre[1]) * aspect
    radius = np.hypot(x, y)
    ring = (radius > inner) & (radius < outer)
    return {round(atan2(a, -b) / (2 * pi) % 1, 2) for a, b in zip(x[ring], y[ring], strict=True)}


@pytest.mark.parametrize(
    ("clock", "hour", "minute"),
    # by hand: the hour hand goes 1/12 of a turn an hour, the minute hand 1/60 a minute
    [("03:00", 0.25, 0.0), ("06:15", 0.52, 0.25), ("21:45", 0.81, 0.75), ("12:30", 0.04, 0.5)],
)
def test_hands_point_where_those_of_a_clock_do(clock, hour, minute):
    lit = hands(second(clock), wall(61, 61))
    near = angles(lit, 8, 12, (30.5, 30.5))
    far = angles(lit, 18, 20, (30.5, 30.5))

    def off(a, b):
        return abs((a - b + 0.5) % 1 - 0.5)

    assert all(off(a, minute) < 0.03 for a in far)
    assert far
    assert any(off(a, hour) < 0.02 for a in near)
    assert all(min(off(a, hour), off(a, minute)) < 0.06 for a in near)


def test_a_dial_is_round_where_rows_lie_further_apart():
    lit = hands(second("12:00"), wall(40, 20, row_pitch_mm=20.0))
    rows, columns = np.nonzero(lit > 0.2)
    assert columns.max() - columns.min() == pytest.approx(2 * (rows.max() - rows.min()), abs=2)
    # The minute hand is 3/4 of the radius of 200 mm: 7.5 rows up, or 15 columns to the side.
    assert np.flatnonzero(lit[:10, 20] > 0.6).min() in (2, 3)
    lit = hands(second("12:15"), wall(40, 20, row_pitch_mm=20.0))
    assert np.flatnonzero(lit[10, 20:] > 0.6).max() in (14, 15)


def test_a_hand_moves_without_jumps():
    display = wall(36, 20)
    pictures = [hands(second("10:20") + tenth / 2, display) for tenth in range(60)]
    assert max(np.abs(b - a).max() for a, b in pairwise(pictures)) < 0.1
    assert np.abs(pictures[-1] - pictures[0]).max() > 0.2


def test_a_dial_shows_the_time_it_is_told_over_its_ground():
    display = wall(36, 20)
    dial = Dial(now=lambda: second("19:30"), colour=(255, 255, 255), ground=(0, 0, 255))
    picture = dial(0, display)
    assert (picture[..., 0] == digits(second("19:30"), display)).all()
    assert (picture[..., 2] == 1).all()
    faces = [Dial(face=f, now=lambda: second("19:30"))(0, display) for f in ("digits", "hands")]
    assert (faces[0] != faces[1]).any()


def test_an_unknown_face_is_told():
    with pytest.raises(UnknownNameError, match="hands"):
        Dial(face="sun")
