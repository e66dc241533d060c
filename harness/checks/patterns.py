"""Check `patterns`: does every cell show what was meant, on every step of the patterns?"""

from __future__ import annotations

from harness.checks.hidden import not_told, told_by
from harness.checks.steps import Steps, judge_alone
from harness.checks.together import STEP_OF_CELL, shown_together
from harness.patterns.pattern import PATTERNS
from harness.result.finding import Finding
from harness.result.result import Result
from harness.subject.trial import Trial

# Patterns of plain colours: the check `levels` judges the levels in between.
_PATTERNS = ("dark", "rows", "columns", "chase", "checker", "corners")

# Of a pattern shown step by step; steps of longer ones are shown together.
_MOST_STEPS = 600
_MOST_SHOWN = 10_000_000  # LEDs, in all steps


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Compare what is lit with what was meant. Steps of long patterns are shown together."""
    found = {name: _steps(trial, name) for name in _PATTERNS}
    steps = sum(PATTERNS[name].steps(trial.display) for name in _PATTERNS)
    pictures = sum(one.pictures for one in found.values())
    wrong = {name: one for name, one in found.items() if one.wrong}
    unclear = [name for name, one in found.items() if not one.complete]
    stray = not_told(trial, "patterns", told_by(earlier))
    figures = {
        "steps": steps,
        "steps_wrong": {name: len(one.wrong) for name, one in wrong.items()},
        "at_least": unclear,
        "pictures": pictures,
    }
    if not wrong:
        words = f"{steps} steps of {len(_PATTERNS)} patterns as meant"
        if unclear:
            words = f"the steps shown alone are as meant; {' and '.join(unclear)} not proven whole"
        elif pictures != steps:
            words += f", shown in {pictures} pictures"
        return Result("patterns", words, stray, figures)
    named = ", ".join(
        f"{name} ({'' if one.complete else 'at least '}{len(one.wrong)})"
        for name, one in wrong.items()
    )
    summary = f"wrong steps in {named}"
    causes = ("wire", "map", "colour", "levels")
    explained = [r.check for r in earlier if r.check in causes and r.verdict == "fail"]
    if explained:
        summary = f"{summary}: see {' and '.join(explained)}"
        return Result("patterns", summary, stray, figures, tuple(explained))
    name, first = next(iter(wrong.items()))
    step = min(first.wrong)
    finding = Finding(
        "patterns",
        f"the patterns {named} are not shown as meant, though map and colours are right",
        "see evidence",
        f"{name}, step {step}: {first.wrong[step]}",
        "look for code that depends on the content of the picture, or on the frame before.",
    )
    return Result("patterns", summary, (finding, *stray), figures)


def _steps(trial: Trial, name: str) -> Steps:
    pattern = PATTERNS[name]
    count = pattern.steps(trial.display)
    few = count <= _MOST_STEPS and count * trial.display.leds <= _MOST_SHOWN
    if name in STEP_OF_CELL and not few:
        return shown_together(trial, pattern)
    found = Steps()
    judge_alone(trial, pattern, range(count), found)
    return found
