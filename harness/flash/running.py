"""Flashes judged while frames come, for any length of time: only the last second is kept."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

import numpy as np

from emulator.arrays import Light
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


class RunningJudge:
    """Judges light as it comes, by the same definition and code as `judge_light`.

    Verdict, largest area and most flashes are those of the whole, with one difference: whether
    a pattern of cells seen under less than 0.1° is balanced is judged by the second before each
    frame, not by all that is ever shown.
    """

    def __init__(self, display: Display, distance_m: float | None = None) -> None:
        self.distance_m = display.view.distance_m if distance_m is None else distance_m
        fields = Fields(display, self.distance_m)
        self._general = _RunningKind("general", _general_finder, fields)
        self._red = _RunningKind("red", lambda: RedChanges().take, fields)

    def take(self, light: Light, time_ns: int) -> None:
        """Go on with a frame: light (N, 3) of each LED shown from a time on, later than the last.

        A frame that equals the one before may be left out.
        """
        self._general.take(light[None], time_ns)
        self._red.take(light[None], time_ns)

    @property
    def general(self) -> Flashing | None:
        """How general flashes fare so far; None before any light."""
        return self._general.worst

    @property
    def red(self) -> Flashing | None:
        """How red flashes fare so far; None before any light."""
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
        self._of_leds, self._of_evened, self._of_fields = (
            _LastSecond(),
            _LastSecond(),
            _LastSecond(),
        )

    def take(self, light: Light, time_ns: int) -> None:
        """Go on with a frame of light (1, N, 3)."""
        fields = self._fields
        self._begin_ns = time_ns if self._begin_ns is None else self._begin_ns
        changes = self._find(light)
        flashes = self._of_leds.flashes(changes, time_ns)
        if fields.fine_squares:
            evened = self._find_evened(fields.evened(light, fields.even_side))
            only_fine = balanced(self._of_evened.flashes(evened, time_ns), fields)
            changes[:, only_fine] = flashes[:, only_fine] = 0
        signs = alternating(field_signs(changes, fields), self._last_signs)
        step = most_in_step(self._of_fields.flashes(signs, time_ns), fields)
        most = int(flashes.max(initial=0))
        if (
            self.worst is not None
            and most <= min(self.worst.most, MOST_FLASHES)  # so no area flashes too often, either
            and step.most <= self.worst.in_step
        ):
            return  # nothing worse
        times_ns = np.array([time_ns])
        found = flashing(self._kind, changes, flashes, step, times_ns, fields, self._begin_ns)
        self.worst = found if self.worst is None else worse(self.worst, found)


class _LastSecond:
    """The changes of the last second, both its ends included, counted place by place."""

    def __init__(self) -> None:
        self._kept: deque[tuple[int, Changes]] = deque()
        self._count: Counts = np.zeros(0, dtype=np.int32)

    def flashes(self, changes: Changes, time_ns: int) -> Counts:
        """Flashes (1, M) in the second up to and with changes (1, M): pairs of opposing ones."""
        if not self._kept:
            self._count = np.zeros(changes.shape, dtype=np.int32)
        self._count += np.abs(changes)
        self._kept.append((time_ns, changes.copy()))
        while self._kept[0][0] < time_ns - SECOND_NS:
            self._count -= np.abs(self._kept.popleft()[1])
        return self._count // 2


def _general_finder() -> Finder:
    changes = GeneralChanges()
    return lambda light: changes.take(relative_luminance(light))
