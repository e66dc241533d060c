from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import parse_display
from emulator.canvas import meant_light
from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.mix import Fallback, Schedule, Turns, crossfade, turn_at
from emulator.picture.text import Text
from tests.picture.media import wall

DISPLAY = wall(2, 2)


class Grey:
    """A source of one level, which notes its times and whether it was closed."""

    def __init__(self, level, error=SourceError):
        self.level, self.times, self.closed, self.broken = level, [], 0, False
        self.error = error

    def __call__(self, time_s, display):
        self.times.append(time_s)
        if self.broken:
            raise self.error("unplugged")
        return np.full(display.picture_shape, self.level, dtype=np.float32)

    def close(self):
        self.closed += 1


def level(source, time_s):
    return pytest.approx(float(source(time_s, DISPLAY)[0, 0, 0]), abs=1e-6)


def test_a_crossfade_mixes_light_and_not_code_values():
    black, white = np.zeros((2, 2, 3), np.uint8), np.full((2, 2, 3), 255, np.uint8)
    assert (crossfade(black, white, 0.5) == 0.5).all()
    # IEC 61966-2-1 (worked by hand): code value 188 is the one nearest to half the light
    assert crossfade(black, np.full_like(black, 188), 1)[0, 0, 0] == pytest.approx(0.5029, abs=1e-4)


@given(st.integers(0, 255), st.integers(0, 255), st.floats(0, 1))
def test_a_crossfade_lies_between_its_pictures(first, second, share):
    before, after = (np.full((1, 1, 3), value, np.uint8) for value in (first, second))
    ends = sorted(float(crossfade(before, after, end)[0, 0, 0]) for end in (0, 1))
    assert ends[0] - 1e-6 <= float(crossfade(before, after, share)[0, 0, 0]) <= ends[1] + 1e-6
    assert (crossfade(before, after, share) <= 1).all()


@pytest.mark.parametrize("curve", ['"sRGB"', '"L*"', "2.0"])
def test_the_light_does_not_jump_at_the_end_of_a_fade_whatever_the_curve(curve):
    """Both pictures are the same, so the wall shows the same before, in and after the fade."""
    text = "[grid]\ncolumns=2\nrows=2\n[chip]\npart='WS2812B'\n[wiring]\n[canvas]\n"
    display = parse_display(f"{text}curve={curve}\n", Path("wall.toml"))

    def poster(time_s, display):
        return np.full(display.picture_shape, 128, np.uint8)

    def broken(time_s, display):
        raise SourceError("unplugged")

    meant = meant_light(poster(0, display), display)
    if curve == "2.0":  # by hand: (128 / 255)²
        assert meant == pytest.approx(0.25197, abs=1e-5)
    mixed = (
        (Turns([poster, poster], seconds=10, fade_s=2), (9, 11, 13)),
        (Schedule({"0:00": poster, "0:01": poster}, now=lambda: 61.0), (0,)),
        (Fallback(broken, poster), (0, 0.5)),
        (Text(" ", ground=poster), (0,)),
    )
    for source, times in mixed:
        for time_s in times:
            light = meant_light(source(time_s, display), display)
            assert light == pytest.approx(meant, abs=1e-6), type(source).__name__


def test_turns_begin_with_their_fade():
    assert turn_at(0, 10, 2) == (0, 0, 1.0)
    assert turn_at(11, 10, 2) == (1, 1, 0.5)
    assert turn_at(12, 10, 2) == (1, 2, 1.0)
    assert turn_at(15, 10, 99) == (1, 5, 0.5)
    for seconds, fade_s in ((0, 1), (-1, 0), (1, -1)):
        with pytest.raises(OutOfRangeError, match="Fix"):
            turn_at(0, seconds, fade_s)


def test_sources_in_turn_each_have_their_own_time():
    first, second = Grey(0.2), Grey(0.6)
    turns = Turns([first, second], seconds=10, fade_s=2)
    assert [level(turns, t) for t in (0, 9.9, 11, 13, 23)] == [0.2, 0.2, 0.4, 0.6, 0.2]
    assert first.times == pytest.approx([0, 9.9, 11, 3])  # 11: it goes on while it fades
    assert second.times == pytest.approx([1, 3])
    turns.close()
    assert (first.closed, second.closed) == (1, 1)
    with pytest.raises(OutOfRangeError, match="no source"):
        Turns([])


class Hands:
    """A clock that shows what it is set to."""

    def __init__(self):
        self.text = "00:00:00"

    def __call__(self):
        # The standard library's reading of the time of day, not ours.
        time = datetime.time.fromisoformat(self.text)
        return datetime.timedelta(
            hours=time.hour, minutes=time.minute, seconds=time.second, microseconds=time.microsecond
        ).total_seconds()


def scheduled(**options):
    hands = Hands()
    entries = {"22:30": Grey(0.9), "8:00": Grey(0.1), "12:00:30": Grey(0.5)}
    return hands, Schedule(entries, now=hands, **options), list(entries.values())


def test_a_schedule_goes_by_the_time_of_day_and_past_midnight():
    hands, schedule, sources = scheduled(fade_s=0)
    for text, expected in {
        "07:59:59": 0.9, "08:00:00": 0.1, "12:00:29.9": 0.1, "12:00:30": 0.5,
        "22:29:59": 0.5, "22:30:00": 0.9, "23:59:59": 0.9, "00:00:00": 0.9,
    }.items():  # fmt: skip
        hands.text = text
        assert level(schedule, 0) == expected, text
    schedule.close()
    assert [source.closed for source in sources] == [1, 1, 1]


def test_a_schedule_fades_into_the_next_source():
    hands, schedule, _ = scheduled(fade_s=4)
    for text, expected in {"08:00:01": 0.7, "08:00:02": 0.5, "22:30:03": 0.8}.items():
        hands.text = text
        assert level(schedule, 0) == expected, text
    hands.text = "12:00:29"  # the clock was set back in a fade
    assert level(schedule, 0) == 0.1


def test_a_fade_may_go_past_midnight():
    hands = Hands()
    schedule = Schedule({"23:59:59": Grey(1.0), "12:00": Grey(0.0)}, fade_s=4, now=hands)
    hands.text = "00:00:01"
    assert level(schedule, 0) == 0.5


@pytest.mark.parametrize("text", ["24:00", "8", "08:60", "8 pm", "", "08:00:61"])
def test_what_is_no_time_of_day_is_refused(text):
    with pytest.raises(OutOfRangeError, match="08:00"):
        Schedule({text: Grey(0)})


def test_two_sources_at_one_time_are_refused():
    with pytest.raises(OutOfRangeError, match=r"two sources at 08:00\n  Fix"):
        Schedule({"08:00": Grey(0), "22:30": Grey(0), "8:00": Grey(0)})


def test_an_empty_schedule_is_refused():
    with pytest.raises(OutOfRangeError, match="empty"):
        Schedule({})


def test_a_fallback_shows_the_other_source_and_returns_with_fades(caplog):
    first, other = Grey(0.8), Grey(0.2)
    fallback = Fallback(first, other, retry_s=5, fade_s=2)
    assert level(fallback, 0) == 0.8
    first.broken = True
    assert level(fallback, 10) == 0.8  # from what was shown last
    assert level(fallback, 11) == 0.5
    assert level(fallback, 12.5) == 0.2
    first.broken = False
    assert level(fallback, 14) == 0.2  # not tried yet
    assert level(fallback, 15) == 0.2
    assert level(fallback, 16) == 0.5
    assert level(fallback, 18) == 0.8
    assert "unplugged" in caplog.text


def test_a_fallback_asks_a_source_that_waits_by_itself_again_and_again():
    first = Grey(0.8)
    first.broken = True
    fallback = Fallback(first, Grey(0), retry_s=2, most_s=8, fade_s=0)
    for tenth in range(300):
        fallback(tenth / 10, DISPLAY)
    assert first.times == pytest.approx(range(0, 30, 2))


def test_a_fallback_tries_a_wrong_program_ever_more_seldom():
    first = Grey(0.8, ZeroDivisionError)
    first.broken = True
    fallback = Fallback(first, Grey(0), retry_s=1, most_s=8, fade_s=0)
    for tenth in range(400):
        fallback(tenth / 10, DISPLAY)
    assert first.times == pytest.approx([0, 1, 3, 7, 15, 23, 31, 39])


def test_a_fallback_that_ran_well_is_patient_anew():
    first = Grey(0.8, ZeroDivisionError)
    fallback = Fallback(first, Grey(0), retry_s=1, most_s=8, fade_s=0)
    first.broken = True
    for time_s in range(8):
        fallback(time_s, DISPLAY)
    assert first.times == [0, 1, 3, 7]
    first.broken = False
    for time_s in range(8, 30):
        fallback(time_s, DISPLAY)
    first.broken, first.times = True, []
    for time_s in range(30, 34):
        fallback(time_s, DISPLAY)
    assert first.times == [30, 31, 33]


def test_a_picture_that_does_not_fit_counts_as_a_failure():
    fallback = Fallback(lambda time_s, display: np.zeros((1, 1, 3)), Grey(0.2), fade_s=0)
    assert level(fallback, 0) == 0.2


def test_what_the_other_source_raises_is_raised_and_both_are_closed():
    first, other = Grey(0.8), Grey(0.2)
    first.broken = other.broken = True
    fallback = Fallback(first, other)
    with pytest.raises(SourceError, match="unplugged"):
        fallback(0, DISPLAY)
    fallback.close()
    assert (first.closed, other.closed) == (1, 1)


def test_all_are_closed_though_one_raises_as_it_is_closed():
    first, other = Grey(0.8), Grey(0.2)
    first.close = lambda: 1 / 0
    for mixed in (Turns([first, other]), Fallback(first, other)):
        with pytest.raises(ZeroDivisionError):
            mixed.close()
    assert other.closed == 2
