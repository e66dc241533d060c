"""Check `levels`: do the levels between dark and full come out as the picture means them?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.canvas import srgb_to_linear
from harness.checks.check import Result
from harness.finding import Finding
from harness.trial import Trial

_GREYS = 18  # steps of the probe below, full and dark among them
_APART = 8  # every so many cells are lit: too few for a current limit to act


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show greys and fit the exponent of light against level; a picture means sRGB's 2.2.

    Then all white: code that dims it keeps a limit.
    """
    levels = np.round(np.linspace(0, 255, _GREYS)).astype(np.uint8)
    seen = trial.show([*(_every(trial, _APART, level) for level in levels), _every(trial, 1, 255)])
    brightest = seen.light.max(axis=-1)
    lit = brightest[-2] > 0  # LEDs that stay dark are the matter of the check `map`
    if not lit.any():
        return Result("levels", "nothing is lit at full white", (), {"full": 0.0, "exponent": None})
    light = np.median(brightest[:-1, lit], axis=1).astype(np.float64)
    all_white = float(np.median(brightest[-1, lit]))
    findings: list[Finding] = []
    full = light[-1]
    figures: dict[str, float | None] = {"full": round(float(full), 4), "exponent": None}
    relative = light / full
    usable = (relative > 0.02) & (levels < 255)
    if usable.sum() >= 3:
        x, y = np.log(levels[usable] / 255), np.log(relative[usable])
        exponent = float((x * y).sum() / (x * x).sum())
        figures["exponent"] = round(exponent, 3)
        half = float(np.interp(128, levels, relative))
        wanted = float(srgb_to_linear(128 / 255))
        if abs(half - wanted) > 0.06:
            findings.append(
                Finding(
                    "levels",
                    f"half grey (128 of 255) shows {half:.0%} of full light, not {wanted:.0%}:"
                    f" the levels follow an exponent of {exponent:.2f}, a picture means about 2.2",
                    "all LEDs",
                    f"light at levels 64, 128, 192: {_at(levels, relative)}",
                    "put the picture through the sRGB curve before the LEDs (emulator.canvas"
                    " does), unless you want it so.",
                    "note",
                )
            )
    falling = np.flatnonzero(np.diff(light) < -1e-6)
    if falling.size:
        k = int(falling[0])
        findings.append(
            Finding(
                "levels",
                f"the light falls from level {levels[k]} to level {levels[k + 1]}",
                "all LEDs",
                f"{light[k]:.3f} → {light[k + 1]:.3f} of full drive",
                "look for an overflow in the level arithmetic, or a limiter that dims too much.",
                "warning",
            )
        )
    if full < 0.99:
        findings.append(
            Finding(
                "levels",
                f"full white shows {full:.0%} of full light",
                "all LEDs",
                f"brightest channel at white: drive {full * 255:.0f} of 255",
                "nothing, if a brightness setting is meant.",
                "note",
            )
        )
    dimmed = all_white / full
    figures["all_white"] = round(all_white, 4)
    if dimmed < 0.99 and trial.display.power.limit_a is None:
        findings.append(
            Finding(
                "levels",
                f"a wall all white is dimmed to {dimmed:.0%} of what a few white cells show",
                "all LEDs",
                f"{all_white:.2f} against {full:.2f} of full drive",
                "nothing, if your code keeps a current limit; then name it as limit_a in [power].",
                "note",
            )
        )
    shown = f"exponent {figures['exponent']}" if figures["exponent"] else "no levels in between"
    return Result("levels", f"{shown}, all white at {all_white:.0%}", tuple(findings), figures)


def _every(trial: Trial, apart: int, level: int) -> NDArray[np.uint8]:
    """A picture with every so many cells at a level of grey, the others dark."""
    picture = np.zeros(trial.display.picture_shape, dtype=np.uint8)
    picture.reshape(-1, 3)[trial.display.wiring.cell[::apart]] = level
    return picture


def _at(levels: NDArray[np.uint8], relative: NDArray[np.float64]) -> str:
    return ", ".join(f"{np.interp(v, levels, relative):.0%}" for v in (64, 128, 192))
