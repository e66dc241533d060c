"""Faults at random, as a user gives them: a sentence, a table of the file, or both."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.outside.generated_faults.chain import Fault
from tests.outside.generated_faults.walls import CLOCKED, ONE_WIRE, Wall

CORNERS = ("top-left", "top-right", "bottom-left", "bottom-right")
WIRING = ("run-reversed", "runs-exchanged", "run-short", "run-long", "outputs-exchanged",
          "led-missing", "led-extra", "other-corner")  # fmt: skip
STRIP = ("led-dark", "led-swallows", "data-open", "led-joined", "against-arrow", "other-chip")
CHANNEL = ("channel-off", "channel-on", "channel-weak", "other-batch")
LIGHT = ("cover-missing", "cover-cracked", "front-dirty", "led-off-middle")
NAMES = {"R": "red", "G": "green", "B": "blue", "W": "white"}


def one(rng: np.random.Generator, wall: Wall, kind: str) -> Fault | None:
    """A fault of this kind somewhere on the wall, or None if it has no place for it."""
    f: Fault = {"kind": kind}
    line = int(rng.integers(len(wall.lines)))
    leds = len(wall.lines[line])
    if kind in ("run-reversed", "run-short", "run-long", "against-arrow", "runs-exchanged"):
        f["run"] = int(rng.integers(len(wall.runs)))
        if kind == "run-short":
            most = len(wall.runs[f["run"]])
            if most < 2:
                return None
            f["leds"] = int(rng.integers(1, most))
        if kind == "run-long":
            f["leds"] = int(rng.integers(1, 6))
        if kind == "run-reversed" and len(wall.runs[f["run"]]) < 2:
            return None
        if kind == "runs-exchanged":
            others = [n for n in range(len(wall.runs)) if n != f["run"]]
            if not others:
                return None
            f["other"] = int(rng.choice(others))
        if f.get("leds") == 1 and rng.random() < 0.5:
            del f["leds"]
        return f
    if kind in LIGHT[:3]:  # before the LEDs: what they show stays
        grid = wall.display.grid
        f["column"], f["row"] = int(rng.integers(grid.columns)), int(rng.integers(grid.rows))
        if wall.display.gap[f["row"], f["column"]]:
            return None
        if rng.random() < 0.5:
            f["columns"] = int(rng.integers(1, grid.columns - f["column"] + 1))
        return f
    f["line"] = line
    if kind == "outputs-exchanged":
        if len(wall.lines) < 2:
            return None
        f["other"] = int(rng.choice([n for n in range(len(wall.lines)) if n != line]))
    elif kind == "other-corner":
        wiring, on = wall.display.wiring, wall.lines[line]
        columns, rows = wiring.column[on], wiring.row[on]
        across, down = np.ptp(columns) + 1, np.ptp(rows) + 1
        if not wall.solid or across * down != len(on) or "[[line]]" in wall.text:
            return None
        here = ("top-" if rows[0] == rows.min() else "bottom-") + (
            "left" if columns[0] == columns.min() else "right"
        )
        if across < 2 or down < 2:
            return None
        f["corner"] = str(rng.choice([c for c in CORNERS if c != here]))
    elif kind in ("data-open", "led-extra"):
        f["after"] = int(rng.integers(-1, leds - 1))
    elif kind in ("other-chip", "other-batch"):
        f["first"], f["last"] = sorted(int(v) for v in rng.integers(0, leds, 2))
        if kind == "other-chip":
            alike = [p for p in (CLOCKED[:2] if wall.part in CLOCKED[:2] else tuple(ONE_WIRE))
                     if p != wall.part]  # fmt: skip
            if wall.part in CLOCKED[2:]:
                return None
            f["chip"] = str(rng.choice(alike))
        else:
            for colour in ("red", "green", "blue"):
                if rng.random() < 0.7:
                    f[colour] = round(float(rng.uniform(0.3, 1.6)), 2)
    else:
        f["led"] = int(rng.integers(1 if kind == "led-joined" else 0, leds))
        if kind == "led-off-middle" and wall.display.wiring.hidden[wall.lines[line][f["led"]]]:
            return None
        if kind == "led-joined" and leds < 2:
            return None
        if kind == "led-swallows" and rng.random() < 0.5:
            f["lit"] = bool(rng.random() < 0.7)
        if kind.startswith("channel-"):
            f["channel"] = NAMES[str(rng.choice([c for c in wall.channels if c != "I"]))]
        if kind == "channel-weak" and rng.random() < 0.7:
            f["level"] = round(float(rng.uniform(0, 1)), 2)
    if f.get("line") == 0 and rng.random() < 0.5:
        del f["line"]
    return f


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def sentence(rng: np.random.Generator, fault: Fault) -> str:
    """The fault as one sentence, its parameters in any order."""
    keys = [k for k in fault if k != "kind"]
    parts = [f"{k}={_word(fault[k])}" for k in rng.permutation(keys)] if keys else []
    return " ".join([fault["kind"], *parts])


def table(rng: np.random.Generator, fault: Fault) -> str:
    """The fault as a table of the display file."""
    lines = ["[[fault]]"]
    for key in rng.permutation(list(fault)):
        value = fault[str(key)]
        text = f'"{value}"' if isinstance(value, str) else str(value).lower()
        lines.append(f"{key} = {text}")
    return "\n".join(lines) + "\n"
