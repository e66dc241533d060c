"""Walls at random, and one fault that a person may have built into each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

import emulator

SEED = 20261128
CORNERS = ("top-left", "top-right", "bottom-left", "bottom-right")
KINDS = (
    "data-open", "led-dark", "run-reversed", "runs-exchanged", "channel-on", "channel-off",
    "feed-missing", "led-swallows", "led-missing", "loose", "led-extra", "power-joint",
    "channel-weak", "run-short", "led-joined", "outputs-exchanged", "feed-joint", "run-long",
    "against-arrow", "other-corner", "cover-missing", "front-dirty", "other-batch", "supply-low",
    "led-off-middle", "no-common-ground", "cover-cracked", "supply-small", "run-short by two",
)  # fmt: skip


@dataclass
class Case:
    """A wall, as text of its file, and a fault as its kind and parameters."""

    text: str
    fault: dict[str, Any]

    @cached_property
    def display(self) -> emulator.Display:
        return emulator.parse_display(self.text, Path("wall.toml"))

    @property
    def beyond(self) -> bool:
        """Whether a campaign has no such fault: a supply as small as that, a run so short."""
        return self.fault["kind"] == "supply-small" or "leds" in self.fault

    @property
    def sentence(self) -> str:
        parts = [f"{k}={'yes' if v is True else v}" for k, v in self.fault.items() if k != "kind"]
        return " ".join([self.fault["kind"], *parts])


def wall(rng: np.random.Generator, most: tuple[int, int] = (14, 10)) -> str:
    """A wall from 3 × 4 to `most`: rows or columns, zigzag or not, one line or two, gaps."""
    columns, rows = int(rng.integers(3, most[0] + 1)), int(rng.integers(4, most[1] + 1))
    text = f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
    if columns > 5 and rows > 5 and rng.random() < 0.3:
        column, row = int(rng.integers(1, columns - 3)), int(rng.integers(1, rows - 3))
        text += f"gaps = [{{ column = {column}, row = {row}, columns = 2, rows = 2 }}]\n"
    part = rng.choice(["WS2812B", "WS2812B", "SK6812", "SK6812-RGBW"])
    along, path = rng.choice(["rows", "columns"]), rng.choice(["serpentine", "progressive"])
    return (
        f'{text}[chip]\npart = "{part}"\n[wiring]\nstart = "{rng.choice(CORNERS)}"\n'
        f'along = "{along}"\npath = "{path}"\nlines = {int(rng.integers(1, 3))}\n'
    )


def _runs(display: emulator.Display) -> list[list[int]]:
    run = display.wiring.run
    return [np.flatnonzero(run == n).tolist() for n in range(int(run.max()) + 1)]


def fault(rng: np.random.Generator, display: emulator.Display, kind: str) -> dict[str, Any] | None:
    """A fault of this kind somewhere on the wall, or None if it has no place for it."""
    wiring, runs = display.wiring, _runs(display)
    lines = int(wiring.line.max()) + 1
    line = int(rng.integers(lines))
    leds = int((wiring.line == line).sum())
    led, run = int(rng.integers(leds)), int(rng.integers(len(runs)))
    on_line: dict[str, Any] = {"line": line} if lines > 1 else {}
    channel = str(rng.choice(["red", "green", "blue"]))
    if len(display.chip.channels) == 4 and rng.random() < 0.25:
        channel = "white"
    conductor = str(rng.choice(["plus", "ground"]))
    cell = {"column": int(wiring.column[led]), "row": int(wiring.row[led])}
    of_run = [n for n, r in enumerate(runs) if wiring.line[r[0]] == wiring.line[runs[run][0]]]
    others = [n for n in of_run if n != run]
    made: dict[str, dict[str, Any] | None] = {
        "data-open": {"kind": "data-open", **on_line, "after": led - 1},
        "loose": {"kind": "data-open", **on_line, "after": led - 1, "share": 0.1},
        "power-joint": {"kind": "power-joint", **on_line, "after": led, "conductor": conductor},
        "led-joined": {"kind": kind, **on_line, "led": led} if led else None,
        "led-extra": {"kind": kind, **on_line, "after": led - 1},
        "led-off-middle": {"kind": kind, **on_line, "led": led, "right_mm": 8.333},
        "runs-exchanged": {"kind": kind, "run": run, "other": others[led % len(others)]}
        if others
        else None,
        "run-short by two": {"kind": "run-short", "run": run, "leds": 2},
        "outputs-exchanged": {"kind": kind, "other": 1} if lines > 1 else None,
        "other-corner": {"kind": kind, **on_line, "corner": str(rng.choice(CORNERS))},
        "feed-missing": {"kind": kind, "feed": run},
        "feed-joint": {"kind": kind, "feed": run, "conductor": conductor},
        "no-common-ground": {"kind": kind, **on_line},
        "supply-low": {"kind": kind},
        "supply-small": {"kind": kind, "amps": 0.5},
        "other-batch": {"kind": kind, **on_line, "first": int(wiring.led[runs[run][0]]),
                        "last": int(wiring.led[runs[run][-1]])}
        if wiring.line[runs[run][0]] == line
        else None,
    }  # fmt: skip
    if kind in made:
        return made[kind]
    if kind in ("run-reversed", "run-short", "run-long", "against-arrow"):
        return {"kind": kind, "run": run}
    if kind.startswith("channel-"):
        return {"kind": kind, **on_line, "led": led, "channel": channel}
    if kind in ("cover-missing", "cover-cracked", "front-dirty"):
        return {"kind": kind, **cell}
    return {"kind": kind, **on_line, "led": led}


def case(n: int, most: tuple[int, int] = (14, 10)) -> Case:
    """Case `n`: each kind in turn."""
    rng = np.random.default_rng([SEED, n])
    while True:
        made = Case(wall(rng, most), {})
        drawn = fault(rng, made.display, KINDS[n % len(KINDS)])
        if drawn is None:
            continue
        made.fault = drawn
        try:
            emulator.Bench(made.display, faults=[made.sentence])
        except emulator.ForeglowError:  # such as a joint behind the last LED
            continue
        return made
