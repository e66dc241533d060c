"""Check `map`: does every LED show the cell it sits in?"""

from __future__ import annotations

import numpy as np

from harness.checks.check import Result
from harness.coded import read_codes
from harness.explain import explain
from harness.patterns import PATTERNS
from harness.trial import Trial


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Read the map back from the coded pattern and explain where it differs from the wiring."""
    wiring = trial.display.wiring
    seen = trial.show_pattern(PATTERNS["coded"])
    source = read_codes(seen.light.sum(axis=-1), trial.display.gap)
    right = int((source == wiring.cell).sum())
    findings = () if right == len(wiring) else tuple(explain(wiring, source).findings())
    return Result(
        "map",
        f"{right} of {len(wiring)} LEDs show their own cell",
        findings,
        {
            "leds": len(wiring),
            "leds_right": right,
            "frames": len(seen.sent),
            "leds_wrong": np.flatnonzero(source != wiring.cell)[:1000].tolist(),
        },
    )
