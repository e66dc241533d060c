"""LEDs in sentences, named by line and number."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from harness.explain.wall import Wall
from harness.result.words import counted

_LINES = 12  # lines that are named before it says how many there are


def led_names(wall: Wall, positions: Collection[int]) -> str:
    """'LED 17', 'LEDs 40 and 41', 'line 0, LEDs 3 to 9; line 2, LED 5'."""
    wiring, leds = wall.wiring, np.asarray(list(positions), dtype=np.int64)
    if wall.lines == 1:
        return counted("LED", wiring.led[leds].tolist())
    line = wiring.line[leds]
    lines = np.unique(line).tolist()
    parts = [
        f"line {number}, {counted('LED', wiring.led[leds[line == number]].tolist())}"
        for number in lines[:_LINES]
    ]
    if len(lines) > _LINES:
        parts.append(f"… ({len(leds)} LEDs on {len(lines)} lines in all)")
    return "; ".join(parts)
