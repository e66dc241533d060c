"""Mixes sources: cross-faded, in turn, by time of day, or one that replaces a failed one."""

from __future__ import annotations

import contextlib
import logging
import re
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from math import floor

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Light, Picture
from emulator.clock import time_of_day_s
from emulator.description.canvas import Curve
from emulator.description.display import Display
from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.check import check_picture
from emulator.picture.source import ClosingSource, Source, close_source, light_of

_LOG = logging.getLogger(__name__)
_DAY_S = 86400


def crossfade(first: ArrayLike, second: ArrayLike, share: float, curve: Curve = "sRGB") -> Light:
    """Two pictures of one shape mixed in linear light: `share` 0 is the first, 1 the second.

    curve: what uint8 code values mean. Give `display.canvas.curve`, which the wall uses for other
    pictures: with another curve the light would jump at the end of a fade.
    """
    share = min(max(share, 0.0), 1.0)
    mixed: Light = (1 - share) * light_of(first, curve) + share * light_of(second, curve)
    return mixed.clip(0, 1).astype(np.float32)  # so that rounding does not make white 1.0000001


def turn_at(time_s: float, seconds: float, fade_s: float) -> tuple[int, float, float]:
    """The number of the turn from 0, its time so far (s), and the share 0…1 of its picture.

    Each turn takes `seconds` and begins with a fade of `fade_s`, at most the whole turn, in which
    the share goes from 0 to 1. The first turn has no fade. Raises OutOfRangeError.
    """
    if seconds <= 0 or fade_s < 0:
        raise OutOfRangeError(
            f"turns cannot take {seconds:g} s with fades of {fade_s:g} s",
            fix="give seconds above 0, and a fade of 0 or more.",
        )
    turn = floor(time_s / seconds)
    passed_s = time_s - turn * seconds
    fade_s = min(fade_s, seconds)
    return turn, passed_s, 1.0 if turn <= 0 or passed_s >= fade_s else passed_s / fade_s


class Turns(ClosingSource):
    """Sources in turn, each for `seconds`, with a cross-fade; after the last one the first again.

    Each source's time begins at 0 with its turn. Raises OutOfRangeError without a source, or for
    times that are not possible.
    """

    def __init__(
        self, sources: Sequence[Source], *, seconds: float = 20.0, fade_s: float = 1.0
    ) -> None:
        if not sources:
            raise OutOfRangeError(
                "there is no source for the turns", fix="give at least one source."
            )
        self._sources = tuple(sources)
        self._seconds, self._fade_s = seconds, fade_s

    def __call__(self, time_s: float, display: Display) -> Picture:
        turn, passed_s, share = turn_at(time_s, self._seconds, self._fade_s)
        picture = self._of(turn)(passed_s, display)
        if share == 1:
            return np.asarray(picture)
        before = self._of(turn - 1)(passed_s + self._seconds, display)
        return crossfade(before, picture, share, display.canvas.curve)

    def _of(self, turn: int) -> Source:
        return self._sources[turn % len(self._sources)]

    def close(self) -> None:
        """Close all sources."""
        _close_all(self._sources)


class Schedule(ClosingSource):
    """Sources by time of day: `Schedule({"08:00": poster, "22:30": night})`.

    Each shows from its time on, with a fade of `fade_s`, until the time of the next; the last one
    continues past midnight. now: returns the seconds since midnight. Raises OutOfRangeError without
    an entry, for a time that is not a time of day, and for two sources at the same time.
    """

    def __init__(
        self,
        entries: Mapping[str, Source],
        *,
        fade_s: float = 2.0,
        now: Callable[[], float] = time_of_day_s,
    ) -> None:
        if not entries:
            raise OutOfRangeError("the schedule is empty", fix="give at least one time of day.")
        self._entries = sorted(
            ((_second_of_day(text), source) for text, source in entries.items()),
            key=lambda entry: entry[0],
        )
        for (begin_s, _), (next_s, _) in pairwise(self._entries):
            if begin_s == next_s:
                raise OutOfRangeError(
                    f"two sources at {begin_s // 3600:02d}:{begin_s // 60 % 60:02d}",
                    fix="give each source its own time; 8:00 and 08:00 are the same.",
                )
        self._fade_s = fade_s
        self._now = now

    def __call__(self, time_s: float, display: Display) -> Picture:
        now_s = self._now() % _DAY_S
        begun = [number for number, (begin_s, _) in enumerate(self._entries) if begin_s <= now_s]
        number = begun[-1] if begun else len(self._entries) - 1  # else the last, since yesterday
        begin_s, source = self._entries[number]
        picture = source(time_s, display)
        passed_s = (now_s - begin_s) % _DAY_S
        if len(self._entries) == 1 or passed_s >= self._fade_s:
            return np.asarray(picture)
        _, before = self._entries[number - 1]
        share = passed_s / self._fade_s
        return crossfade(before(time_s, display), picture, share, display.canvas.curve)

    def close(self) -> None:
        """Close all sources."""
        _close_all([source for _, source in self._entries])


class Fallback(ClosingSource):
    """Shows `otherwise` while `first` fails, and fades back to `first` when it works again.

    The log names every error of `first`. After a SourceError (a lost camera, which opens again by
    itself) it asks `first` every `retry_s`. After any other error, such as one in a program, it
    asks again after `retry_s`, then after twice as long each time, up to `most_s`. If `first` has
    run for `most_s`, the next wait is `retry_s` again. It raises the errors of `otherwise`.
    """

    def __init__(
        self,
        first: Source,
        otherwise: Source,
        *,
        retry_s: float = 1.0,
        most_s: float = 30.0,
        fade_s: float = 1.0,
    ) -> None:
        self._first, self._otherwise = first, otherwise
        self._name = getattr(first, "__name__", type(first).__name__)
        self._retry_s, self._most_s = retry_s, most_s
        self._fade_s = fade_s
        self._failing = False
        self._wait_s = retry_s
        self._tried_s = self._turned_s = float("-inf")  # last attempt; last failure or return
        self._shown: Light | None = None
        self._fading_from: Light | None = None

    def __call__(self, time_s: float, display: Display) -> Light:
        picture = self._chosen(time_s, display)
        before, passed_s = self._fading_from, time_s - self._turned_s
        if before is not None and 0 <= passed_s < self._fade_s and before.shape == picture.shape:
            picture = crossfade(before, picture, passed_s / self._fade_s)
        else:
            self._fading_from = None
        self._shown = picture
        return picture.copy()

    def _chosen(self, time_s: float, display: Display) -> Light:
        curve = display.canvas.curve
        if self._failing and self._tried_s <= time_s < self._tried_s + self._wait_s:
            return light_of(self._otherwise(time_s, display), curve)
        try:
            picture = light_of(check_picture(self._first(time_s, display), display), curve)
        except Exception as error:
            self._failed(time_s, error)
            return light_of(self._otherwise(time_s, display), curve)
        if self._failing:
            _LOG.info("%s is back after %.0f s", self._name, time_s - self._turned_s)
            self._failing = False
            self._turn(time_s)
        return picture

    def _failed(self, time_s: float, error: Exception) -> None:
        ran_long = not self._failing and time_s - self._turned_s >= self._most_s
        # A source that waits by itself can be asked at once; two waits would add up.
        soon = ran_long or isinstance(error, SourceError)
        self._wait_s = self._retry_s if soon else min(2 * self._wait_s, self._most_s)
        self._tried_s = time_s
        if not self._failing:
            _LOG.warning("%s failed, the other source shows: %r", self._name, error)
            self._failing = True
            self._turn(time_s)

    def _turn(self, time_s: float) -> None:
        self._turned_s, self._fading_from = time_s, self._shown

    def close(self) -> None:
        """Close all sources."""
        _close_all((self._first, self._otherwise))


def _close_all(sources: Sequence[Source]) -> None:
    """Close each, also if another one raises."""
    with contextlib.ExitStack() as stack:
        for source in reversed(sources):
            stack.callback(close_source, source)


def _second_of_day(text: str) -> int:
    """'08:30' or '08:30:15' in seconds since midnight. Raises OutOfRangeError."""
    match = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?", text.strip())
    if match is None:
        raise OutOfRangeError(
            f"'{text}' is not a time of day", fix="write hours and minutes, as 08:00 or 22:30."
        )
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    return hours * 3600 + minutes * 60 + seconds
