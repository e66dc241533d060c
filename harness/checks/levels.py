"""Check `levels`: does every level come out as the picture means it, on every LED?

Shares are of full light; steps are of 255 drives. What [canvas] asks for (curve, white,
brightness, dither) is right; nothing else is right without a word.

| What                               | remark | warning     | fault         | Why                 |
|------------------------------------|--------|-------------|---------------|---------------------|
| black                              |        | drive 1     | 2 and more    | glows in the dark   |
| a level, against the law of most   |        |             | 1.5 steps and | rounding; the curve |
|                                    |        |             | 0.9 %         | sRGB and 2.2 are    |
|                                    |        |             |               | one to the eye      |
| dark where light is meant          |        |             | 3 steps meant | a table of 2.2 that |
|                                    |        |             |               | drops fractions     |
| another curve for all channels     |        | always      | where no      | could be declared   |
|                                    |        |             | [canvas] can  |                     |
|                                    |        |             | say so        |                     |
| curve twice or inverse, change     |        |             | always        | no [canvas] can say |
| before it, cut off, overflow, bits |        |             |               | so                  |
| one brightness for all channels    |        | 3 %,        |               | could be declared   |
|                                    |        | 2 steps     |               |                     |
| bits left of 8                     | 7      | 6           | 5 and less    | 6: steps of 3 % at  |
|                                    |        |             |               | the bright end      |
| an LED against the rest            |        | 4 %,        | 20 %          | up to there it may  |
|                                    |        | 2.5 steps   |               | be a calibration    |
| a wall all white is dimmed         | always |             |               | a limit, as a rule  |
| the same level in another picture  |        |             | 10 %          | levels depend on    |
|                                    |        |             |               | the picture         |

Figures are measured (harness/measure): every level, every LED at several.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.checks.check import Result
from harness.checks.leds import led_findings
from harness.checks.levelwords import level_findings
from harness.checks.white import NAMES, off_brightness, white_finding
from harness.finding import Finding, Severity
from harness.measure.laws import exponent_of
from harness.measure.measured import Measured
from harness.measure.pictures import HALF_LEVEL
from harness.trial import Trial

_DEPENDS = 0.1  # of light


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show every level of every channel, greys, black and white, and compare what is shown.

    LEDs that stay dark and channels that never light are left to other checks.
    """
    measured = trial.measured
    if not measured.enough:
        why = "no LED lights up" if not measured.shown.steps.any() else "no cell can be told"
        return Result("levels", f"{why}: levels cannot be judged", (), {"full": 0.0})
    shown = measured.shown
    gains = [channel.gain for channel in measured.channels]
    findings = [
        *_black(measured),
        *level_findings(measured),
        *([white_finding(measured, "levels")] if off_brightness(measured) else ()),
        *_depends(measured),
        *led_findings(measured),
        *_dimmed(measured),
    ]
    exponents = [exponent_of(channel.shown) for channel in measured.channels]
    known = [exponent for exponent in exponents if exponent is not None]
    exponent = float(np.median(known)) if known else None
    fit = "no levels in between" if exponent is None else f"exponent {exponent:.2f}"
    all_white = max(gains) * shown.all_white
    figures = {
        "full": round(max(gains), 4),
        "all_white": round(all_white, 4),
        "exponent": None if exponent is None else round(exponent, 3),
        "black_steps": np.round(shown.black, 2).tolist(),
        "frames": len(shown.steps),
    }
    return Result("levels", f"{fit}, all white at {all_white:.0%}", tuple(findings), figures)


def _black(measured: Measured) -> Iterator[Finding]:
    """Light where the picture is dark."""
    black = measured.shown.black
    if black.max() < 0.5:
        return
    names = (*NAMES, "W")
    if len(black) == 3 and np.ptp(black) < 0.5:
        each = f"drive {black[0]:.0f}: {black[0] / 255:.1%} of full"
    else:
        each = ", ".join(
            f"{name} at drive {steps:.0f}: {steps / 255:.1%} of full"
            for name, steps in zip(names, black, strict=False)
            if steps >= 0.5
        )
    severity: Severity = "fault" if black.max() >= 1.5 else "warning"
    yield Finding(
        "levels",
        f"black shows {each}",
        "all LEDs",
        "the dark picture: " + ", ".join(
            f"{name} {steps:.0f}" for name, steps in zip(names, black, strict=False)
        ),
        "look for an offset, a least drive or a rounding up; level 0 must be drive 0.",
        severity,
    )  # fmt: skip


def _depends(measured: Measured) -> Iterator[Finding]:
    """Levels that depend on what else is in the picture."""
    shown = measured.shown
    greys = shown.greys[HALF_LEVEL]
    told = greys[:3] + greys[3:].sum()
    apart = shown.agreement
    half = shown.half_plateaus
    if apart < 0.5 and len(shown.cell) >= 256:
        yield Finding(
            "levels",
            "what an LED shows depends on more than the level of its cell",
            "all LEDs",
            f"only {apart:.0%} of the LEDs that were sent a level alone show what most do at it",
            "look for smoothing between neighbours, noise, or a step that looks at the whole"
            " picture; what follows from it is not told one by one.",
        )
        return
    lit = [c for c in range(3) if told[c] > 10]
    if not lit:
        return
    ratio = float(np.median([half[c] / told[c] for c in lit]))
    if ratio > 1 + _DEPENDS or (ratio < 1 - _DEPENDS and shown.all_white > 0.99):
        yield Finding(
            "levels",
            f"levels depend on the picture: half grey all over shows {ratio:.0%} of what level"
            f" {HALF_LEVEL} shows among others",
            "all LEDs",
            f"drive {half[lit[0]]:.0f} against {told[lit[0]]:.0f} in {NAMES[lit[0]]}",
            "look for a step that stretches each picture to its brightest cell.",
        )


def _dimmed(measured: Measured) -> Iterator[Finding]:
    """A wall all white that shows less than a few white cells do."""
    share = measured.shown.all_white
    if share < 0.985 and measured.display.power.limit_a is None:
        gain = max(channel.gain for channel in measured.channels)
        yield Finding(
            "levels",
            f"a wall all white is dimmed to {share:.0%} of what a few white cells show",
            "all LEDs",
            f"{gain * share:.2f} against {gain:.2f} of full light",
            "nothing, if your code keeps a current limit; then name it as limit_a in [power].",
            "note",
        )
