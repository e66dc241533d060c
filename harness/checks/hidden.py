"""LEDs without a cell that are lit although they must stay dark."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Ints
from emulator.description.display import Display
from harness.explain.lednames import led_names
from harness.explain.wall import Wall
from harness.result.finding import Finding
from harness.result.result import Result
from harness.subject.trial import Trial

HIDDEN_LIT = "hidden_lit"  # figure of a result: positions of the hidden LEDs that were lit


def hidden_lit(check: str, display: Display, lit: Ints, evidence: str) -> tuple[Finding, ...]:
    """A finding that names hidden LEDs (positions) that are lit; none without any."""
    if not lit.size:
        return ()
    names = led_names(Wall(display.wiring), lit.tolist())
    has, are, it = ("has", "is", "it") if lit.size == 1 else ("have", "are", "them")
    return (
        Finding(
            check,
            f"{names} {has} no cell and must stay dark, but {are} lit",
            names,
            evidence,
            f"send 0 in every channel for {it}, whatever the picture.",
            leds=tuple(lit.tolist()),
        ),
    )


def not_told(trial: Trial, check: str, told: Ints) -> tuple[Finding, ...]:
    """A finding on the hidden LEDs lit so far in a trial, except those named (positions)."""
    lit = np.setdiff1d(np.flatnonzero(trial.hidden_drive), told)
    drive = trial.hidden_drive[lit].max(initial=0)
    return hidden_lit(check, trial.display, lit, f"drive up to {drive} of 255 in some pictures")


def told_by(earlier: Sequence[Result]) -> Ints:
    """Positions of the hidden LEDs that earlier results have named."""
    told = [led for result in earlier for led in result.figures.get(HIDDEN_LIT, ())]
    return np.array(told, dtype=np.int64)
