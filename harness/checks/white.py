"""The [canvas] that would declare what the code shows, and the finding on a wrong white."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from emulator.description.canvas import CanvasSection, Curve
from harness.measure.measured import Measured
from harness.result.finding import Finding, Severity
from harness.result.words import joined

NAMES = ("red", "green", "blue")

ALIKE = 0.03  # of light: gains that differ by less are the same, except for rounding
_LEAST_WHITE = 0.25  # of the brightest channel: with less red or green it is not a white


def off_white(measured: Measured) -> bool:
    """Whether red, green and blue have other gains than [canvas] asks for, each by its own."""
    gains = _gains(measured)
    if gains is None:
        return False
    share = gains / gains.max()
    return bool((1 - share > _tolerance(measured)).any())


def off_brightness(measured: Measured) -> bool:
    """Whether all channels have one gain, but not that of [canvas]."""
    gains = _gains(measured)
    cut = any(
        (channel.bits or 8) < 7 or channel.cut_off is not None or channel.distinct is not None
        for channel in measured.channels
    )
    if gains is None or cut or measured.mixing.leak is not None or off_white(measured):
        return False
    return bool((np.abs(gains - 1) > _tolerance(measured)).all())


def _gains(measured: Measured) -> Floats | None:
    """(3,) gains at full; None if levels are too wrong to tell gains."""
    for channel in measured.channels:
        law = channel.law
        if channel.bits is not None and channel.bits < 7:
            continue
        if law is None and not channel.full_is_right:
            return None
        if law is not None and law.kind in ("overflow", "bits", "before"):
            return None
    gains = np.array([channel.gain for channel in measured.channels])
    return gains if gains.max() > 0.005 else None


def _tolerance(measured: Measured) -> Floats:
    """(3,) two drive steps are rounding."""
    return ALIKE + 2 / (255 * measured.full)


def declared(measured: Measured) -> CanvasSection | None:
    """The [canvas] that would make what is shown right; None if there is none."""
    canvas = measured.display.canvas
    curve = shown_curve(measured)
    full = measured.full * np.array([channel.gain for channel in measured.channels])
    brightness = float(full.max())
    if curve is None or not 0 < brightness <= 1.02:
        return None
    white = np.minimum(np.round(full / brightness, 3), 1.0).tolist()
    try:
        return CanvasSection(
            curve=curve,
            white=white,
            brightness=min(round(brightness, 3), 1.0),
            dither=canvas.dither,
        )
    except ValueError:  # [canvas] cannot declare that: too few levels, an exponent beyond 4
        return None


def shown_curve(measured: Measured) -> Curve | None:
    """The curve that all channels follow; None if there is none."""
    curves = set()
    for channel in measured.channels:
        law = channel.law
        if law is None or channel.cut_off is not None:
            return None
        if law.kind == "gain":
            curves.add(measured.display.canvas.curve)
        elif law.kind == "curve" and law.curve is not None:
            curves.add(law.curve)
        else:
            return None
    return curves.pop() if len(curves) == 1 else None


def lines(canvas: CanvasSection) -> str:
    """The lines of a display file that declare it."""
    curve = f'"{canvas.curve}"' if isinstance(canvas.curve, str) else f"{canvas.curve:.2f}"
    white = ", ".join(f"{gain:g}" for gain in canvas.white)
    told = [
        "[canvas]",
        f"curve = {curve}",
        f"white = [{white}]",
        f"brightness = {canvas.brightness:g}",
    ]
    if canvas.dither:
        told.append("dither = true")
    return "\n".join(told)


def or_declare(measured: Measured) -> str:
    """The end of a remedy: the lines that would declare it; '' if there are none."""
    canvas = declared(measured)
    if canvas is None:
        return ""
    return f"\nOr, if you want it so, write in the display file:\n{lines(canvas)}"


def white_finding(measured: Measured, check: str) -> Finding:
    """Full white that is not what [canvas] asks for."""
    display = measured.display
    gains = np.array([channel.gain for channel in measured.channels])
    shown, wanted = (
        " ".join(f"{share:.2f}" for share in part)
        for part in (gains * measured.full, measured.full)
    )
    what = f"full white is red, green, blue at {shown} of full drive; [canvas] asks for {wanted}"
    share = gains / gains.max()
    severity: Severity = "fault" if share[:2].min() < _LEAST_WHITE else "warning"
    apart = 1 - share > _tolerance(measured)
    if (measured.full == measured.full[0]).all():
        if apart.any():
            what = f"{_unlike(share, apart)}: {what}"
        elif display.canvas == CanvasSection():
            what = f"full white shows {gains.mean():.0%} of full light"
    return Finding(
        check,
        what,
        "all LEDs",
        "single channels at full, as shares of the light meant: "
        + ", ".join(f"{name} {gain:.0%}" for name, gain in zip(NAMES, gains, strict=True)),
        "after the curve, multiply red, green and blue by white and brightness of [canvas]"
        f" (emulator.canvas does).{or_declare(measured)}",
        severity,
    )


def _unlike(share: Floats, apart: NDArray[np.bool_]) -> str:
    """'green shows at 10% of red and blue'."""
    odd = [n for n in range(3) if apart[n]]
    rest = joined([NAMES[n] for n in range(3) if not apart[n]])
    if len(odd) == 2 and abs(share[odd[0]] - share[odd[1]]) <= ALIKE:
        return f"{joined([NAMES[n] for n in odd])} show at {share[odd].mean():.0%} of {rest}"
    return ", ".join(f"{NAMES[n]} shows at {share[n]:.0%}" for n in odd) + f" of {rest}"
