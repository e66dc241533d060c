"""Check `power`: are supplies and wires sufficient, and does the code keep the current limit?"""

from __future__ import annotations

from itertools import product

import numpy as np

from emulator.canvas import current_a
from harness.power import assess, power_findings
from harness.result.finding import Finding
from harness.result.result import Result
from harness.subject.trial import Trial

# Every full colour except black: which one draws most depends on the chip and on the code.
_COLOURS = tuple(colour for colour in product((0, 255), repeat=3) if any(colour))


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Assess the display, and measure what the code under test asks for in every full colour."""
    display = trial.display
    assessment = assess(display)
    asked = {colour: _asked_a(trial, colour) for colour in _COLOURS}
    worst = max(asked, key=lambda colour: asked[colour])
    findings = list(power_findings(display, assessment))
    limit_a = display.power.limit_a
    if limit_a is not None and asked[worst] > limit_a + 1e-9:
        findings.append(
            Finding(
                "power",
                f"the code asks for {asked[worst]:.2f} A; the limit is {limit_a:g} A",
                "all LEDs",
                f"the whole display in RGB {worst}, by the catalogue's figures of the chip",
                "pass the drives through emulator.canvas.limit_smoothly (limit_current for a"
                " single frame) before they go to the wire, or scale the brightness.",
            )
        )
    lowest = assessment.lowest
    limit = "no limit" if limit_a is None else f"limit {limit_a:g} A"
    return Result(
        "power",
        f"at most {asked[worst]:.2f} A from this code, {limit}; supplies at"
        f" {max(s.share for s in assessment.supplies):.0%} at worst, lowest LED"
        f" {lowest.volts:.2f} V",
        tuple(findings),
        {
            "asked_most_a": round(asked[worst], 4),
            "full_white_a": round(assessment.white.asked_a, 4),
            "limit_a": limit_a,
            "supply_share": [round(s.share, 4) for s in assessment.supplies],
            "lowest_v": round(lowest.volts, 4),
            "converged": assessment.solver.converged,
            "caution": assessment.caution,
        },
    )


def _asked_a(trial: Trial, colour: tuple[int, ...]) -> float:
    """Current the display is asked for when the code shows one colour everywhere."""
    trial.show([np.full(trial.display.picture_shape, colour, dtype=np.uint8)])
    return float(current_a(trial.bench.drives, trial.display.chip))
