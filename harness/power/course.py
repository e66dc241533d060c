"""A scene followed over time: the current it asks for and gets, and how often the limit acts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from emulator.canvas import LimiterState, current_a, limit_smoothly, to_drives
from emulator.description.display import Display
from emulator.errors import OutOfRangeError
from emulator.picture.source import light_of
from emulator.power.least import nominal_a
from emulator.power.network import build_network
from emulator.power.supply import run_supplies
from harness.patterns.sources import named_source
from scenes import SCENES

# Frames drawn and solved at a time, and LEDs of all of them: bounds the memory.
_MOST_AT_ONCE, _LEDS_AT_ONCE = 256, 1 << 20
MOST_FRAMES = 1_000_000

SCENES_SECONDS = 60.0
SCENES_PER_S = 2.0  # the demo scenes move slowly
_LEAST_PER_S = 0.5  # on large walls, which bounds the work
_SCENES_LEDS = 3_000_000  # of all frames of a scene


@dataclass(frozen=True, eq=False)
class Course:
    """T frames of a scene on a display of N LEDs and S supplies.

    seconds: how long they last; the last frame stays as long as the others. times_ns: (T,) int64,
    when each is shown. asked_a: (T,) A by the catalogue's figures, before any limit. sent_a: (T,)
    the same after the limiter. drawn_a: (T,) A from the supplies through the wires. supplied_w:
    (T,). lowest_v: (T,) the lowest voltage of an LED. led_a: (N,) mean of the current sent to each
    LED. supply_a: (S,) mean current of each supply. off: (T,) whether a supply has tripped.
    limit_a: None without a limit.
    """

    name: str
    seconds: float
    times_ns: NDArray[np.int64]
    asked_a: Floats
    sent_a: Floats
    drawn_a: Floats
    supplied_w: Floats
    lowest_v: Floats
    led_a: Floats
    supply_a: Floats
    off: NDArray[np.bool_]
    converged: bool
    limit_a: float | None

    @property
    def above_limit(self) -> float | None:
        """Share of the frames that ask for more than the limit; None without one."""
        return None if self.limit_a is None else float((self.asked_a > self.limit_a).mean())

    def to_json(self) -> dict[str, Any]:
        """Peak and mean of what is asked, sent and drawn; duty above the limit; lowest voltage."""
        figures = {
            f"{name}_{word}_a": float(measure(values))
            for name, values in (
                ("asked", self.asked_a), ("sent", self.sent_a), ("drawn", self.drawn_a)
            )
            for word, measure in (("peak", np.max), ("mean", np.mean))
        }  # fmt: skip
        return {
            "name": self.name,
            "seconds": self.seconds,
            "frames": len(self.times_ns),
            **figures,
            "limit_a": self.limit_a,
            "above_limit": self.above_limit,
            "supply_off": float(self.off.mean()),
            "lowest_v": float(self.lowest_v.min()),
            "lowest_at_s": float(self.times_ns[self.lowest_v.argmin()] / 1e9),
            "mean_w": float(self.supplied_w.mean()),
            "converged": self.converged,
        }


def follow(
    display: Display,
    name: str,
    source: Callable[[float], NDArray[Any]],
    seconds: float,
    frames_per_s: float | None = None,
) -> Course:
    """Follow time_s → picture from 0 s on, at the display's frame rate by default.

    Applies the limiter of `[power] limit_a`, if there is one. Raises OutOfRangeError.
    """
    per_s = frames_per_s or display.controller.frame_rate
    frames = round(seconds * per_s) if 0 < seconds < np.inf else 0
    if not 1 <= frames <= MOST_FRAMES:
        raise OutOfRangeError(
            f"{seconds:g} s at {per_s:g} frames/s cannot be followed",
            fix=f"give a time of"
            f" 1 to {MOST_FRAMES} frames, {1 / per_s:.3g} to {MOST_FRAMES / per_s:g} s here.",
        )
    times_ns = np.round(np.arange(frames) * (1e9 / per_s)).astype(np.int64)
    network = build_network(display)
    limit_a, chip = display.power.limit_a, display.chip
    state, until = LimiterState(), None
    led_a, supply_a = np.zeros(display.leds), np.zeros(network.supplies)
    columns: list[tuple[NDArray[Any], ...]] = []
    converged = True
    at_once = max(min(_MOST_AT_ONCE, _LEDS_AT_ONCE // display.leds), 1)
    for begin in range(0, frames, at_once):
        part = times_ns[begin : begin + at_once]
        pictures = [source(ns / 1e9) for ns in part.tolist()]
        if len({picture.dtype == np.uint8 for picture in pictures}) > 1:  # of sources in turn
            pictures = [light_of(picture, display.canvas.curve) for picture in pictures]
        drives = to_drives(np.stack(pictures), display, begin)
        asked = current_a(drives, chip)
        if limit_a is not None:
            drives, state = limit_smoothly(drives, chip, limit_a, part, state)
        powered = run_supplies(network, drives, chip, part, until)
        until, rails = powered.off_until_ns, powered.rails
        led_a += nominal_a(drives, chip).sum(axis=0)
        supply_a += rails.supply_current_a.sum(axis=0)
        converged = converged and bool(rails.converged.all())
        watts = np.asarray((rails.supply_volts * rails.supply_current_a).sum(axis=1))
        lowest = rails.led_volts.min(axis=1)
        off = np.any(~powered.on, axis=1)
        columns.append((asked, current_a(drives, chip), rails.total_current_a, watts, lowest, off))
    asked_a, sent_a, drawn_a, watts, lowest, off = (
        np.concatenate(column) for column in zip(*columns, strict=True)
    )
    return Course(
        name, frames / per_s, times_ns, asked_a, sent_a, drawn_a, watts, lowest, led_a / frames,
        supply_a / frames, off, converged, limit_a,
    )  # fmt: skip


def follow_scenes(display: Display) -> tuple[Course, ...]:
    """Every demo scene for a minute: together they represent a typical evening.

    Two frames a second; from 25,000 LEDs on fewer, from 100,000 on one every two seconds.
    """
    per_s = np.clip(_SCENES_LEDS / display.leds / SCENES_SECONDS, _LEAST_PER_S, SCENES_PER_S)
    return tuple(
        follow(display, f"scene {n}", named_source(n, display), SCENES_SECONDS, float(per_s))
        for n in SCENES
    )
