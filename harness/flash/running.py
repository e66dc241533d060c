"""Judges flashes while frames come, for any length of time; keeps only a second or two of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from emulator.arrays import Light, Times
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from harness.flash.changes import (
    Changes,
    GeneralChanges,
    RedChanges,
    alternating,
    relative_luminance,
)
from harness.flash.field import Fields
from harness.flash.judge import (
    MOST_FLASHES,
    Counts,
    Flashing,
    Kind,
    balanced,
    field_signs,
    flashing,
    most_in_step,
    worse,
)

Finder = Callable[[Light], Changes]

_FRAMES = 64  # judged in one go, at most
_VALUES = 1 << 21  # of light that wait, at most


class RunningJudge:
    """Judges light as it comes, by the same definition and code as `judge_light`.

    Verdict, largest area and most flashes cover all frames so far. There is one difference: whether
    a pattern of cells seen under less than 0.1° is balanced depends on the second before each
    frame, not on everything ever shown. It judges frames in batches, or when you ask.
    """

    def __init__(self, display: Display, distance_m: float | None = None) -> None:
        self.distance_m = display.view.distance_m if distance_m is None else distance_m
        fields = Fields(display, self.distance_m)
        self._general = _RunningKind("general", _general_finder, fields)
        self._red = _RunningKind("red", lambda: RedChanges().take, fields)
        self._waiting = np.zeros(
            (max(1, min(_FRAMES, _VALUES // (3 * display.leds))), display.leds, 3), np.float32
        )
        self._times_ns: list[int] = []  # of the frames that wait

    def take(self, light: Light, time_ns: int) -> None:
        """Take the next frame: light (N, 3) of each LED, shown from a time on, later than the last.

        You may leave out a frame that equals the one before.
        """
        self._waiting[len(self._times_ns)] = light
        self._times_ns.append(time_ns)
        if len(self._times_ns) == len(self._waiting):
            self._judge()

    def _judge(self) -> None:
        """Judge the frames that wait."""
        if self._times_ns:
            light, times_ns = self._waiting[: len(self._times_ns)], np.array(self._times_ns)
            self._general.take(light, times_ns)
            self._red.take(light, times_ns)
            self._times_ns = []

    @property
    def general(self) -> Flashing | None:
        """The result for general flashes so far; None before any light."""
        self._judge()
        return self._general.worst

    @property
    def red(self) -> Flashing | None:
        """The result for red flashes so far; None before any light."""
        self._judge()
        return self._red.worst


class _RunningKind:
    """One kind of flash; keeps the changes of the last second."""

    def __init__(self, kind: Kind, finder: Callable[[], Finder], fields: Fields) -> None:
        self.worst: Flashing | None = None
        self._kind, self._fields = kind, fields
        self._find, self._find_evened = finder(), finder()
        rows, columns, _ = fields.display.picture_shape
        self._last_signs = np.zeros(rows * columns, dtype=np.int8)
        self._begin_ns: int | None = None
        self._of_leds, self._of_evened = _LastSecond(), _LastSecond()
        self._of_fields = _LastSecond()

    def take(self, light: Light, times_ns: Times) -> None:
        """Take frames of light (T, N, 3), shown from times (T,) on; T is at least 1."""
        fields = self._fields
        self._begin_ns = int(times_ns[0]) if self._begin_ns is None else self._begin_ns
        changes = fields.seen(self._find(light))
        flashes = self._of_leds.flashes(changes, times_ns)
        if fields.fine_squares:
            evened = self._find_evened(fields.evened(light, fields.even_side))
            around = self._of_evened.flashes(evened, times_ns)
            for number in np.flatnonzero(changes.any(axis=1) | flashes.any(axis=1)):
                only_fine = balanced(around[number : number + 1], fields)
                changes[number, only_fine] = flashes[number, only_fine] = 0
        signs = field_signs(changes, fields)
        turned = np.flatnonzero(signs.any(axis=1))
        signs[turned] = alternating(signs[turned], self._last_signs)
        step = most_in_step(self._of_fields.flashes(signs, times_ns), fields)
        most = int(flashes.max(initial=0))
        if (
            self.worst is not None
            and most <= min(self.worst.most, MOST_FLASHES)  # so no area flashes too often
            and step.most <= self.worst.in_step
        ):
            return  # nothing worse
        found = flashing(self._kind, changes, flashes, step, times_ns, fields, self._begin_ns)
        self.worst = found if self.worst is None else worse(self.worst, found)


class _LastSecond:
    """The changes of the last second, including both ends, counted place by place."""

    def __init__(self) -> None:
        self._times_ns: Times = np.zeros(0, dtype=np.int64)
        self._kept: Changes | None = None  # of the frames in which any place changes

    def flashes(self, changes: Changes, times_ns: Times) -> Counts:
        """Flashes (T, M), pairs of opposing changes, in the second up to and with each frame.

        changes: (T, M), of frames shown from times (T,) on; T at least 1.
        """
        some = np.flatnonzero(changes.any(axis=1))
        kept = changes[:0] if self._kept is None else self._kept
        if some.size:
            kept = np.concatenate([kept, changes[some]])
            self._times_ns = np.concatenate([self._times_ns, times_ns[some]])
        if not len(kept):
            return np.zeros(changes.shape, dtype=np.int32)
        total = np.zeros((len(kept) + 1, changes.shape[1]), dtype=np.int32)
        np.cumsum(np.abs(kept), axis=0, out=total[1:])
        first = np.searchsorted(self._times_ns, times_ns - SECOND_NS, side="left")
        last = np.searchsorted(self._times_ns, times_ns, side="right")
        old = np.searchsorted(self._times_ns, times_ns[-1] - SECOND_NS, side="left")
        self._kept, self._times_ns = kept[old:].copy(), self._times_ns[old:]
        return np.asarray((total[last] - total[first]) // 2)


def _general_finder() -> Finder:
    changes = GeneralChanges()
    return lambda light: changes.take(relative_luminance(light))
