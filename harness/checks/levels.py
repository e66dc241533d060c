"""Check `levels`: does every LED show every level as [canvas] asks for it?

Shares are of full light; steps are of 255 drives. What [canvas] asks for (curve, white,
brightness, dither) is right; the check reports everything else.

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
| an all-white wall is dimmed        | always |             |               | usually a limit     |
| the same level in another picture  |        |             | 10 %          | levels depend on    |
|                                    |        |             |               | the picture         |

Figures are measured (harness/measure): every level, every LED at several.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from harness.checks.blends import blend_findings
from harness.checks.leds import led_findings
from harness.checks.levelwords import level_findings
from harness.checks.white import NAMES, off_brightness, white_finding
from harness.measure.laws import exponent_of
from harness.measure.measured import Measured
from harness.measure.pictures import HALF_LEVEL
from harness.result.finding import Finding, Severity
from harness.result.result import Result
from harness.subject.trial import Trial

_DEPENDS = 0.1  # of light
_TWICE_DIMMED = Finding(
    "levels",
    "the common intensity follows the level: levels are dimmed twice",
    "all LEDs",
    "the intensity changes from LED to LED, and red, green and blue do not make up for it",
    "send the intensity at its full 31, or raise red, green and blue to make up for it.",
)
_SCATTERED = "what an LED shows depends on more than the level of its cell"


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show every level of every channel, greys, black and white, and compare what is shown.

    LEDs that stay dark and channels that never light are left to other checks.
    """
    measured = trial.measured
    if not measured.enough:
        if measured.blend is not None:
            return _mixed(measured, trial, earlier)
        why = (
            "no LED lights up"
            if not measured.shown.steps.any()
            else "too few LEDs could be matched to their cells"
        )
        return Result("levels", f"{why}: levels cannot be judged", (), {"full": 0.0})
    shown = measured.shown
    gains = [channel.gain for channel in measured.channels]
    if measured.scattered:
        return Result("levels", _SCATTERED, (_scattered(measured),), {"full": None})
    if shown.coarse or measured.twice_dimmed:
        found = _coarse(shown.coarse) if shown.coarse else _TWICE_DIMMED
        return Result("levels", found.what, (*_black(measured), found), {"full": None})
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
    fit = "no level between dark and full" if exponent is None else f"exponent {exponent:.2f}"
    all_white = max(gains) * shown.all_white
    figures = {
        "full": round(max(gains), 4),
        "all_white": round(all_white, 4),
        "exponent": None if exponent is None else round(exponent, 3),
        "black_steps": np.round(shown.black, 2).tolist(),
        "frames": len(shown.steps),
    }
    return Result(
        "levels", f"{fit}, all white at {all_white:.0%}", trial.of_display(findings), figures
    )


def _mixed(measured: Measured, trial: Trial, earlier: tuple[Result, ...]) -> Result:
    """Levels cannot be judged since LEDs mix cells; reported here if `map` did not run."""
    if any(result.check == "map" for result in earlier):
        why = "LEDs mix cells, see map: levels cannot be judged"
        return Result("levels", why, (), {"full": None}, ("map",), judged=False)
    assert measured.blend is not None
    found = blend_findings(measured, measured.blend.base(trial.places))
    told = tuple(replace(finding, check="levels") for finding in trial.of_display(found))
    return Result("levels", "LEDs mix cells: levels cannot be judged", told, {"full": None})


def _scattered(measured: Measured) -> Finding:
    """All that can be said if LEDs show many drives for one level."""
    return Finding(
        "levels",
        _SCATTERED,
        "all LEDs",
        f"where a cell leaves a channel dark, {measured.borrowed:.0%} of the light that its LED"
        " shows in it comes from a cell beside it"
        if measured.borrowed > 0.5
        else f"{measured.shown.jumps:.0%} of the readings of one channel do not fit the levels next"
        " to theirs, and mixtures are not the sum of their channels"
        if measured.shown.small
        else f"only {measured.shown.agreement:.0%} of the readings at one level of a channel agree"
        " with most LEDs",
        "look for smoothing between neighbours, noise, or a step that looks at the whole picture."
        " Fix that first, then check the levels again.",
    )


def _coarse(lights: int) -> Finding:
    """Levels mixed, between LEDs or in time, from few."""
    bits = (lights - 1).bit_length()
    return Finding(
        "levels",
        f"{bits} bit{'s are' if bits > 1 else ' is'} left of 8: levels are mixed from {lights}"
        " different drives",
        "all LEDs",
        "LEDs at the same level show different drives, and only these drives occur",
        "look for dithering to a few bits; LEDs have 8.",
    )


def _black(measured: Measured) -> Iterator[Finding]:
    """Light where the picture is dark."""
    black = measured.shown.black
    if black.max() < 0.5 or black.max() <= measured.shown.noise:
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
        "look for an offset, a minimum drive or rounding up; level 0 must give drive 0.",
        severity,
    )  # fmt: skip


def _depends(measured: Measured) -> Iterator[Finding]:
    """Levels that depend on what else is in the picture."""
    shown = measured.shown
    greys = shown.greys[HALF_LEVEL]
    told = greys[:3] + greys[3:].sum()
    half = shown.half_plateaus
    lit = [c for c in range(3) if told[c] > 10]
    if not lit:
        return
    ratio = float(np.median([half[c] / told[c] for c in lit]))
    if ratio > 1 + _DEPENDS or (ratio < 1 - _DEPENDS and shown.all_white > 0.99):
        yield Finding(
            "levels",
            f"levels depend on the picture: half grey on the whole wall shows {ratio:.0%} of what"
            f" level {HALF_LEVEL} shows next to other levels",
            "all LEDs",
            f"drive {half[lit[0]]:.0f} against {told[lit[0]]:.0f} in {NAMES[lit[0]]}",
            "look for a step that stretches each picture to its brightest cell.",
        )


def _dimmed(measured: Measured) -> Iterator[Finding]:
    """An all-white wall whose cells show less than a few white cells do."""
    share = measured.shown.all_white
    if share < 0.985 and measured.display.power.limit_a is None:
        gain = max(channel.gain for channel in measured.channels)
        yield Finding(
            "levels",
            f"an all-white wall is dimmed to {share:.0%} of what a few white cells show",
            "all LEDs",
            f"{gain * share:.2f} against {gain:.2f} of full light",
            "none needed if your code keeps a current limit: declare it as limit_a in [power].",
            "note",
        )
