"""LEDs in sentences, named by line and number."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from harness.explain.wall import Wall
from harness.result.words import counted


def led_names(wall: Wall, positions: Collection[int]) -> str:
    """'LED 17', 'LEDs 40 and 41', 'line 0, LEDs 3 to 9; line 2, LED 5'."""
    wiring, leds = wall.wiring, np.asarray(list(positions), dtype=np.int64)
    if wall.lines == 1:
        return counted("LED", wiring.led[leds].tolist())
    return "; ".join(
        f"line {line}, {counted('LED', wiring.led[leds[wiring.line[leds] == line]].tolist())}"
        for line in np.unique(wiring.line[leds]).tolist()
    )
