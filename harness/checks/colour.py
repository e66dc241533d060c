"""Check `colour`: does red show as red on every LED?"""

from __future__ import annotations

from emulator.canvas import full_light
from harness.checks.check import Result
from harness.explain import explain_colours
from harness.patterns import PATTERNS
from harness.trial import Trial


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show plain red, green, blue and white, and see which channels answer."""
    channels = trial.display.chip.channels
    seen = trial.show_pattern(PATTERNS["channels"])
    findings = tuple(explain_colours(trial.display.wiring, seen.light[:3], channels))
    wrong = sum(f.severity == "fault" for f in findings)
    summary = "red, green and blue show as meant" if not wrong else "the channels are not as meant"
    peak = float((seen.light * full_light(trial.display)).max(initial=0.0))
    return Result("colour", summary, findings, {"brightest_drive": round(peak, 4)})
