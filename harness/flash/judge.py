"""Judges whether a display stays below the flash thresholds of WCAG 2.2, SC 2.3.1."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Light, Times
from emulator.bench import Bench, led_light
from emulator.canvas import full_light
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from harness.flash.changes import (
    Changes,
    alternating,
    flashes_by_second,
    general_changes,
    red_changes,
    relative_luminance,
)
from harness.flash.field import FIELD_SR, Fields

CAUTION = (
    "This is information, not a medical clearance. foreglow counts flashes by WCAG 2.2, SC 2.3.1,"
    " on the emulated display alone. Judge the finished wall in its place as well: foreglow does"
    " not know the light around it, other walls, or the medical history of its viewers."
)
MOST_FLASHES = 3  # in any one-second window
MOST_AREA_SR = 0.006  # a quarter of a 10° field
_LARGE_SR = MOST_AREA_SR * (1 + 1e-9)  # more than that, however the cells' areas are rounded
_BLOCK = 1 << 20  # values in one go

Kind = Literal["general", "red"]
Counts = NDArray[np.int32]


@dataclass(frozen=True)
class Flashing:
    """The result for one kind of flash.

    area_sr: of LEDs that flash more than three times in the same second, in step or not: the
    largest area (sr) in any 10° field; 0 if there are none. in_step: most flashes in a second of
    any 10° field as a whole; in each, more than 0.006 sr of it rises or falls in one frame, even
    if other LEDs do so each time. most: most flashes of one LED, in the worst second and field, if
    any. from_ns, to_ns: that second. led, column, row: that LED, and the cell it sits in.
    """

    kind: Kind
    area_sr: float
    in_step: int
    most: int
    from_ns: int
    to_ns: int
    led: int
    column: int
    row: int

    @property
    def below(self) -> bool:
        """Below the thresholds: at most three flashes a second, or on at most 0.006 sr."""
        return self.area_sr <= _LARGE_SR and self.in_step <= MOST_FLASHES

    @property
    def area_share(self) -> float:
        """Of the 10° field, 0…1."""
        return self.area_sr / FIELD_SR

    @property
    def rank(self) -> tuple[bool, float, int, int]:
        """A larger rank is worse."""
        return not self.below, self.area_sr, self.in_step, self.most


class Step(NamedTuple):
    """Most flashes in a second of a field as a whole, their last frame, and the field's cell."""

    most: int
    frame: int
    column: int
    row: int


@dataclass(frozen=True)
class Judgement:
    """The results for both kinds of flash, and the trace of the worst place.

    fine: cells are seen under less than 0.1°, so balanced patterns of them do not count.
    luminance: (T,) relative, of the LED of `worst`. flashes: (T,) its flashes of that kind in
    the second up to each time.
    """

    distance_m: float
    fine: bool
    general: Flashing
    red: Flashing
    times_ns: Times
    luminance: Floats
    flashes: Counts

    @property
    def below(self) -> bool:
        return self.general.below and self.red.below

    @property
    def worst(self) -> Flashing:
        """The worse of the two kinds."""
        return max(self.general, self.red, key=lambda kind: kind.rank)


def judge_bench(bench: Bench, distance_m: float | None = None) -> Judgement:
    """Judge every frame that a bench has latched and kept.

    distance_m: from the eye to the wall; by default that of [view]. Raises ValueError if there is
    no frame.
    """
    light = relative_light(bench.frames, bench.display)
    return judge_light(light, bench.recorder.times_ns, bench.display, distance_m)


def relative_light(drives: NDArray[np.uint8], display: Display) -> Light:
    """Linear light (…, 3) of drives (…, C): 1 in each colour is the white of the display.

    That is what `[canvas]` makes of a white picture, with its brightness and white balance. The eye
    adapts to a dimmed wall as to a dimmed screen, so its flashes count in full. Drives that exceed
    what `[canvas]` asks for, and W in addition to R, G and B, make light above 1.
    """
    relative = led_light(drives, display.chip.channels)
    relative /= full_light(display)
    return relative


def judge_light(
    light: Light, times_ns: Times, display: Display, distance_m: float | None = None
) -> Judgement:
    """Judge linear light (T, N, 3) of each LED, shown from times_ns (T,) on; 1 is the white.

    See `relative_light`. Raises ValueError if there is no frame.
    """
    if not len(light):
        raise ValueError("there is no frame to judge")
    distance = display.view.distance_m if distance_m is None else distance_m
    fields = Fields(display, distance)
    found: dict[Kind, Flashing] = {}
    counts: dict[Kind, Counts] = {}
    finders: dict[Kind, Callable[[Light], Changes]] = {
        "general": lambda some: general_changes(relative_luminance(some)),
        "red": red_changes,
    }
    begin_ns = int(times_ns[0])
    for kind, find in finders.items():
        changes = fields.seen(_in_parts(light, find))
        if fields.fine_squares:
            evened = _in_parts(fields.evened(light, fields.even_side), find)
            changes[:, balanced(flashes_by_second(evened, times_ns), fields)] = 0
        counts[kind] = flashes_by_second(changes, times_ns)
        step = _in_step(changes, times_ns, fields)
        found[kind] = flashing(kind, changes, counts[kind], step, times_ns, fields, begin_ns)
    worst = max(found.values(), key=lambda kind: kind.rank)
    return Judgement(
        distance,
        fields.fine_squares > 0,
        found["general"],
        found["red"],
        times_ns,
        relative_luminance(light[:, worst.led]),
        counts[worst.kind][:, worst.led],
    )


def _in_parts(light: Light, find: Callable[[Light], Changes]) -> Changes:
    """Changes (T, N) of light (T, N, 3), some LEDs at a time."""
    step = max(_BLOCK // len(light), 1)
    parts = [find(light[:, first : first + step]) for first in range(0, light.shape[1], step)]
    return np.concatenate(parts, axis=1)


def balanced(evened: Counts, fields: Fields) -> NDArray[np.bool_]:
    """(N,) LEDs that flash only as part of a fine, balanced pattern.

    evened: flashes (T, N) of the light averaged over small squares (`Fields.even_side`). Such a
    pattern has none there.
    """
    flashes = evened.max(axis=0) > 0
    # A square reaches one cell farther on one side than on the other, so make it one cell wider.
    return ~fields.near(flashes, fields.even_side + 2)


def flashing(
    kind: Kind,
    changes: Changes,
    flashes: Counts,
    step: Step,
    times_ns: Times,
    fields: Fields,
    begin_ns: int,
) -> Flashing:
    """The worst second and place of changes and flashes (T, N), and of a field as a whole.

    begin_ns: when the very first frame was shown; no second begins earlier.
    """
    area_sr, in_area, column, row = _largest_area(flashes, fields)
    in_step, step_frame, step_column, step_row = step
    seconds, leds = (np.arange(count) for count in flashes.shape)
    if area_sr > _LARGE_SR or (area_sr > 0 and in_step <= MOST_FLASHES):
        seconds, leds = in_area, np.flatnonzero(fields.around(column, row))
    elif in_step > MOST_FLASHES:
        seconds, leds = np.array([step_frame]), np.flatnonzero(fields.around(step_column, step_row))
    there = flashes[np.ix_(seconds, leds)]
    place = np.unravel_index(there.argmax(), there.shape)
    frame, led = int(seconds[place[0]]), int(leds[place[1]])
    if not flashes.any():  # nothing flashes: take the place with the most changes
        led = int(np.abs(changes).sum(axis=0).argmax())
    end_ns = int(times_ns[frame])
    return Flashing(
        kind,
        area_sr,
        in_step,
        int(flashes[frame, led]),
        max(end_ns - SECOND_NS, begin_ns),
        end_ns,
        led,
        int(fields.display.wiring.column[led]),
        int(fields.display.wiring.row[led]),
    )


def _largest_area(flashes: Counts, fields: Fields) -> tuple[float, NDArray[np.intp], int, int]:
    """Largest area in a field of LEDs with too many flashes (T, N): sr, frames, column, row."""
    over = flashes > MOST_FLASHES
    most, place = 0, (0, 0)
    frames = np.flatnonzero(over.any(axis=1))
    step = _frames_in_one_go(fields)
    for first in range(0, len(frames), step):
        sums = fields.sums(over[frames[first : first + step]])
        _, row, column = np.unravel_index(sums.argmax(), sums.shape)
        if sums.max() > most:
            most, place = int(sums.max()), (int(column), int(row))
    there = over[:, fields.around(*place)].sum(axis=1)
    return min(most * fields.cell_sr, FIELD_SR), np.flatnonzero(there == most), *place


def worse(one: Flashing, other: Flashing) -> Flashing:
    """The worse of two findings of a kind, with the larger area and the more flashes of both."""
    worst = max(one, other, key=lambda found: found.rank)
    return replace(
        worst,
        area_sr=max(one.area_sr, other.area_sr),
        in_step=max(one.in_step, other.in_step),
    )


def _in_step(changes: Changes, times_ns: Times, fields: Fields) -> Step:
    """Most flashes in a second of a field as a whole, of changes (T, N)."""
    frames = np.flatnonzero(changes.any(axis=1))
    signs = field_signs(changes[frames], fields)
    if not signs.any():
        return Step(0, 0, 0, 0)
    kept = alternating(signs, np.zeros(signs.shape[1], dtype=np.int8))
    step = most_in_step(flashes_by_second(kept, times_ns[frames]), fields)
    return step._replace(frame=int(frames[step.frame]))


def field_signs(changes: Changes, fields: Fields) -> Changes:
    """+1 where the field around a cell rises as a whole, -1 where it falls: (T, cells), int8.

    It rises if, in one frame, the area of it that rises exceeds the area that falls by more than
    the threshold; it falls in the same way. So something bright that moves through it does neither.
    changes: (T, N).
    """
    rows, columns, _ = fields.display.picture_shape
    signs = np.zeros((len(changes), rows * columns), dtype=np.int8)
    step = _frames_in_one_go(fields)
    # If too little of the whole display changes, too little of any field does.
    frames = np.flatnonzero(np.count_nonzero(changes, axis=1) * fields.cell_sr > MOST_AREA_SR)
    for first in range(0, len(frames), step):
        part = frames[first : first + step]
        net_sr = fields.sums(changes[part]) * fields.cell_sr
        large = np.abs(net_sr) > _LARGE_SR
        signs[part] = (np.sign(net_sr) * large).reshape(len(net_sr), -1)
    return signs


def most_in_step(flashes: Counts, fields: Fields) -> Step:
    """The most of flashes (T, cells) of fields as a whole."""
    frame, cell = (int(i) for i in np.unravel_index(flashes.argmax(), flashes.shape))
    columns = fields.display.grid.columns
    return Step(int(flashes[frame, cell]), frame, cell % columns, cell // columns)


def _frames_in_one_go(fields: Fields) -> int:
    rows, columns, _ = fields.display.picture_shape
    return max(_BLOCK // (rows * columns), 1)
