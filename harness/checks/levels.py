"""Check `levels`: do the levels between dark and full come out as the picture means them?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.canvas import full_light
from emulator.description.display import Display
from emulator.picture.curve import value_to_light
from harness.checks.check import Result
from harness.finding import Finding, Severity
from harness.trial import Trial

Floats = NDArray[np.float64]

_GREYS = 18  # steps of the probe below, full and dark among them
_APART = 8  # every so many cells are lit: too few for a current limit to act
_OFF = 0.056  # of full light, beyond one drive step: further off than rounding explains


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show greys on a few cells, and compare their light by channel and by LED.

    A picture means what [canvas] says: by default sRGB's curve, an exponent of about 2.2. Then
    all white: code that dims it keeps a limit. LEDs that stay dark and channels that never light
    are left to other checks.
    """
    display = trial.display
    levels = np.round(np.linspace(0, 255, _GREYS)).astype(np.uint8)
    seen = trial.show([*(_every(trial, _APART, level) for level in levels), _every(trial, 1, 255)])
    lit = seen.light[-2].max(axis=-1) > 0
    if not lit.any():
        return Result("levels", "nothing is lit at full white", (), {"full": 0.0, "exponent": None})
    light = seen.light[:-1, lit].astype(np.float64)  # (levels, LEDs, 3)
    curve = np.median(light, axis=1)  # (levels, 3)
    brightest = curve.max(axis=1)
    full = float(brightest.max())
    if full == 0:  # fewer than half of the LEDs light up in any one channel
        return Result("levels", "too few LEDs light up to judge levels", (), {"full": 0.0})
    all_white = float(np.median(seen.light[-1, lit].max(axis=-1)))
    relative = brightest / full
    exponent = _exponent(levels, relative)
    where = np.flatnonzero(lit)
    off = _OFF + _step(display)
    findings = [
        *_shape(levels, relative, exponent, display),
        *_channels(levels, curve, off),
        *_single(levels, light, where, display, off),
        *_full_white(curve[-1], display, off),
        *_dimmed(full, all_white, display),
    ]
    fit = "no levels in between" if exponent is None else f"exponent {exponent:.2f}"
    figures = {
        "full": round(full, 4),
        "all_white": round(all_white, 4),
        "exponent": None if exponent is None else round(exponent, 3),
    }
    return Result("levels", f"{fit}, all white at {all_white:.0%}", tuple(findings), figures)


def _every(trial: Trial, apart: int, level: int) -> NDArray[np.uint8]:
    """A picture with every so many cells at a level of grey, the others dark."""
    picture = np.zeros(trial.display.picture_shape, dtype=np.uint8)
    picture.reshape(-1, 3)[trial.display.wiring.cell[::apart]] = level
    return picture


def _exponent(levels: NDArray[np.uint8], relative: Floats) -> float | None:
    """The exponent that fits light against level best; None where no level between shows."""
    usable = (relative > 0.02) & (levels > 0) & (levels < 255)
    if usable.sum() < 3:
        return None
    x, y = np.log(levels[usable] / 255), np.log(relative[usable])
    return float((x * y).sum() / (x * x).sum())


def _step(display: Display) -> float:
    """One drive step, in shares of the full light of the channel that [canvas] dims most."""
    return float(1 / (255 * full_light(display).min()))


def _alike(display: Display) -> float:
    """How far shares of full light may lie apart that are meant to be the same."""
    return 2 * _step(display) if display.canvas.dither else 0.0  # a step above, a step below


def _shape(
    levels: NDArray[np.uint8], relative: Floats, exponent: float | None, display: Display
) -> list[Finding]:
    """What is wrong with the curve as a whole."""
    at = ", ".join(f"{np.interp(v, levels, relative):.0%}" for v in (64, 128, 192))
    evidence = f"light at levels 64, 128, 192: {at} of full"
    if exponent is None:
        return [
            _finding(
                "no level between dark and full is shown",
                evidence,
                "look for a division that drops the fraction, or a threshold, before the LEDs.",
            )
        ]
    falling = np.flatnonzero(np.diff(relative) < -_alike(display) - 1e-6)
    if falling.size:
        k = int(falling[0])
        return [
            _finding(
                f"the light falls from level {levels[k]} to level {levels[k + 1]}",
                f"{relative[k]:.0%} → {relative[k + 1]:.0%} of full; {evidence}",
                "look for an overflow, or for bits in the wrong place, in the level arithmetic.",
            )
        ]
    meant = value_to_light(levels / 255, display.canvas.curve)
    half, wanted = (float(np.interp(128, levels, light)) for light in (relative, meant))
    if abs(half - wanted) <= _OFF + _step(display):
        return []
    return [
        _finding(
            f"half grey (128 of 255) shows {half:.0%} of full light, not {wanted:.0%}:"
            f" the levels follow an exponent of {exponent:.2f}, a picture means about"
            f" {_exponent(levels, meant):.1f}",
            evidence,
            f"put the picture through the curve of [canvas] ({display.canvas.curve}) before the"
            " LEDs (emulator.canvas does), unless you want it so.",
            "note",
        )
    ]


def _channels(levels: NDArray[np.uint8], curve: Floats, most_off: float) -> list[Finding]:
    """Channels whose curve differs from that of the others, each against its own full light."""
    full = curve[-1]
    if (full <= 0).any():
        return []
    relative = curve / full
    middle = np.median(relative, axis=1)
    off = np.abs(relative - middle[:, None])
    findings = []
    for channel, name in enumerate(("red", "green", "blue")):
        level = int(off[:, channel].argmax())
        if off[level, channel] > most_off:
            findings.append(
                _finding(
                    f"{name} does not follow the other channels in between",
                    f"at level {levels[level]} it shows {relative[level, channel]:.0%} of its full"
                    f" light, the others {middle[level]:.0%}",
                    f"look for a factor or a table that only {name} goes through.",
                )
            )
    return findings


def _single(
    levels: NDArray[np.uint8],
    light: Floats,
    where: NDArray[np.intp],
    display: Display,
    most_off: float,
) -> list[Finding]:
    """LEDs whose light differs from the median of all."""
    off = np.abs(light - np.median(light, axis=1, keepdims=True)).max(axis=-1)  # (levels, LEDs)
    odd = np.flatnonzero(off.max(axis=0) > most_off)
    if not odd.size or odd.size > len(where) // 2:
        return []
    wiring = display.wiring
    first = int(where[odd[0]])
    level = int(off[:, odd[0]].argmax())
    count = f"{odd.size} of {len(where)} LEDs show" if odd.size > 1 else "one LED shows"
    return [
        _finding(
            f"{count} another level than the rest",
            f"line {wiring.line[first]}, LED {wiring.led[first]} at level {levels[level]}:"
            f" {light[level, odd[0]].max():.0%}, the rest"
            f" {np.median(light[level].max(axis=-1)):.0%}",
            "look for code that treats some LEDs apart, or for smoothing between neighbours.",
            "warning",
        )
    ]


def _full_white(full: Floats, display: Display, most_off: float) -> list[Finding]:
    """Full white (3,) that is not what [canvas] asks for, where it asks for another than full."""
    asked = full_light(display)
    if (asked == 1).all() or (full <= 0).any() or (np.abs(full - 1) <= most_off).all():
        return []
    shown, wanted = (" ".join(f"{share:.2f}" for share in v) for v in (full * asked, asked))
    return [
        _finding(
            f"full white is red, green, blue at {shown} of full drive; [canvas] asks for {wanted}",
            f"white {display.canvas.white}, brightness {display.canvas.brightness:g}",
            "multiply the light by white and brightness of [canvas], after the curve"
            " (emulator.canvas does), or take them out of the display file.",
            "warning",
        )
    ]


def _dimmed(full: float, all_white: float, display: Display) -> list[Finding]:
    """Full white that is less than full, where [canvas] does not ask for less."""
    findings = []
    if full < 0.99 and (full_light(display) == 1).all():
        findings.append(
            _finding(
                f"full white shows {full:.0%} of full light",
                f"brightest channel at white: drive {full * 255:.0f} of 255",
                "nothing, if a brightness setting is meant.",
                "note",
            )
        )
    if all_white / full < 0.99 - _alike(display) and display.power.limit_a is None:
        findings.append(
            _finding(
                f"a wall all white is dimmed to {all_white / full:.0%} of what a few white cells"
                " show",
                f"{all_white:.2f} against {full:.2f} of full light",
                "nothing, if your code keeps a current limit; then name it as limit_a in [power].",
                "note",
            )
        )
    return findings


def _finding(what: str, evidence: str, remedy: str, severity: Severity = "fault") -> Finding:
    return Finding("levels", what, "all LEDs", evidence, remedy, severity)
