"""Check `patterns`: does every cell show what was meant, on every step of the patterns?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.picture.srgb import srgb_to_linear
from harness.checks.hidden import not_told, told_by
from harness.patterns.pattern import PATTERNS
from harness.result.finding import Finding
from harness.result.result import Result
from harness.subject.trial import Trial

# Patterns of plain colours: the check `levels` judges the levels in between.
_PATTERNS = ("dark", "rows", "columns", "chase", "checker", "corners")
_MOST_STEPS, _ON_LARGE = 600, 200  # of a pattern
_LARGE = 25_000  # LEDs
_MEANT_LIT = srgb_to_linear(np.arange(256) / 255) > 0.5


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Compare what is lit with what was meant. Long patterns on large walls are sampled."""
    placed, wiring = trial.display.wiring.placed, trial.judged.wiring
    most = _MOST_STEPS if trial.display.leds < _LARGE else _ON_LARGE
    steps = 0
    wrong: dict[str, int] = {}
    example = ""
    for name in _PATTERNS:
        pattern = PATTERNS[name]
        count = pattern.steps(trial.display)
        some = range(0, count, -(-count // most))
        steps += len(some)
        for block, seen in trial.show_steps(pattern, some):
            meant, light = seen.meant[:, placed], seen.light[:, placed]
            differs = _differs(meant, light)
            for differ, was, is_, step in zip(differs, meant, light, block, strict=True):
                if not differ.any():
                    continue
                wrong[name] = wrong.get(name, 0) + 1
                if not example:
                    led = int(np.flatnonzero(differ)[0])
                    example = (
                        f"{name}, step {step}: column {wiring.column[led]}, row"
                        f" {wiring.row[led]} was meant {_colour(was[led])} and"
                        f" shows {_colour(np.round(255 * is_[led].clip(0, 1)))}"
                    )
    stray = not_told(trial, "patterns", told_by(earlier))
    figures = {"steps": steps, "steps_wrong": wrong}
    if not wrong:
        return Result(
            "patterns", f"{steps} steps of {len(_PATTERNS)} patterns as meant", stray, figures
        )
    named = ", ".join(f"{name} ({count})" for name, count in wrong.items())
    summary = f"wrong steps in {named}"
    causes = ("wire", "map", "colour", "levels")
    explained = [r.check for r in earlier if r.check in causes and r.verdict == "fail"]
    if explained:
        summary = f"{summary}: see {' and '.join(explained)}"
        return Result("patterns", summary, stray, figures, tuple(explained))
    finding = Finding(
        "patterns",
        f"the patterns {named} are not shown as meant, though map and colours are right",
        "see evidence",
        example,
        "look for code that depends on the content of the picture, or on the frame before.",
    )
    return Result("patterns", summary, (finding, *stray), figures)


def _differs(colours: NDArray[np.uint8], light: NDArray[np.float32]) -> NDArray[np.bool_]:
    """(T, N) whether a channel meant to be lit is dark, or the other way round.

    colours: (T, N, 3) sRGB meant; light: (T, N, 3) seen.
    Lit means above half of the brightest light of that step, so dimming code passes. A channel that
    was meant to be lit is compared with its own brightest light, so white-balancing code passes
    too. If nothing was meant to be lit, anything above one drive step is wrong.
    """
    meant = _MEANT_LIT[colours]
    own = light.max(axis=1, keepdims=True)
    peak = np.where(meant.any(axis=1, keepdims=True), own, own.max(axis=2, keepdims=True))
    anything = meant.any(axis=(1, 2), keepdims=True)
    lit = light > np.where(anything, np.maximum(peak / 2, 1 / 255), 1.5 / 255)
    return np.asarray((lit != meant).any(axis=-1))


def _colour(rgb: NDArray[np.generic]) -> str:
    red, green, blue = (int(v) for v in rgb)
    return f"#{red:02x}{green:02x}{blue:02x}"
