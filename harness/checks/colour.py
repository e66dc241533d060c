"""Check `colour`: does red show as red on every LED, and nothing else, alone and in mixtures?

Shares are of the light that [canvas] means a channel to show at full.

| What                                     | warning      | fault       | Why                     |
|------------------------------------------|--------------|-------------|-------------------------|
| a channel comes out in another, or never |              | always      | order of bytes, wiring  |
| leak from a channel into another         | 1 % to 3 %   | more        | paler colours; rounding |
|                                          |              |             | causes none             |
| W lights with pure colours               | 1 % to 3 %   | more        | a leak into all three   |
| gain of a channel against the others     | more than    | red, green  | could be declared; no   |
|                                          | 3 %, 2 steps | below 25 %  | white is without them   |
| mixtures: not the sum of their channels  |              | 10 % of the | other hues; 4 steps and |
|                                          |              | mixtures    | 2 % may be rounding     |

This check also reports an intended matrix (a correction for the LEDs' colours) as a leak: [canvas]
cannot declare one. Figures are measured (harness/measure) on all levels, LEDs and mixtures.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from emulator.arrays import Floats
from harness.checks.white import NAMES, off_white, white_finding
from harness.explain import explain_colours
from harness.measure.measured import Measured
from harness.measure.mixing import LEAST_LEAK
from harness.result.finding import Finding, Severity
from harness.result.result import Result
from harness.result.words import joined
from harness.subject.trial import Trial

_MUCH_LEAK = 0.03
_BRIGHT = 64  # drive steps at black: above, colours cannot be judged
_MIXED = 0.1  # share of the mixtures that must be off
_GREY_OFF = 4  # drive steps
_INVERTED = Finding(
    "colour",
    "colours are inverted: black shows white, red shows green and blue",
    "all LEDs",
    "the dark picture is bright, the white one dark",
    "look for 255 minus the level, or an inverting table, in your code.",
)


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show plain colours, single channels at all levels and mixtures; check what each lights."""
    display, measured = trial.display, trial.measured
    if measured.inverted:
        return Result("colour", _INVERTED.what, (_INVERTED,))
    if measured.shown.black[:3].max() > _BRIGHT:
        why = "black is bright: colours cannot be judged, see levels"
        return Result("colour", why, (), {}, ("levels",))
    findings = explain_colours(measured.display.wiring, measured.plain, display.chip.channels)
    of_all = [finding for finding in findings if finding.where == "the whole wall"]
    figures: dict[str, object] = {}
    if measured.enough:
        told = any("swapped" not in f.what and "rotated" not in f.what for f in of_all)
        mixed_up = measured.scattered or measured.shown.coarse or measured.twice_dimmed
        if not told and not mixed_up:
            findings.extend(_mixing(measured))
        figures = {
            "gains": _rounded(np.array([channel.gain for channel in measured.channels])),
            "matrix": _rounded(measured.mixing.matrix),
        }
        if "W" in display.chip.channels:
            figures["w_of_pure_colours"] = _rounded(measured.mixing.white_alone)
    wrong = [finding for finding in findings if finding.severity != "note"]
    summary = "the channels are not as meant" if wrong else "red, green and blue show as meant"
    if measured.plain.max(initial=0.0) < 0.02:
        summary = "red, green and blue show no more than black: colours cannot be judged"
    elif not measured.enough and measured.blend is not None:
        summary += "; LEDs mix cells, see map: mixtures cannot be judged"
    elif not measured.enough:
        summary += "; too few LEDs could be matched to their cells to judge mixtures"
    light = trial.measured.shown.steps[:6, :, :3] / 255
    figures["brightest_drive"] = round(float(light.max(initial=0.0)), 4)
    return Result("colour", summary, trial.of_display(findings), figures)


def _rounded(values: Floats) -> list[object]:
    found: list[object] = np.round(values, 3).tolist()
    return found


def _mixing(measured: Measured) -> Iterator[Finding]:
    """Leaks, W that lights alone, gains that differ, mixtures that are not the sum."""
    mixing = measured.mixing
    white = _white_alone(mixing.white_alone)
    if white is not None:
        yield white
    leak = _leak(measured)
    if leak is not None:
        yield leak
    if off_white(measured):
        yield white_finding(measured, "colour")
    if white is None and leak is None:
        mixtures = _mixtures(measured)
        if mixtures is not None:
            yield mixtures


def _white_alone(share: Floats) -> Finding | None:
    most = float(share.max())
    if most <= LEAST_LEAK:
        return None
    lit = [n for n in range(3) if share[n] > LEAST_LEAK]
    if len(lit) == 3:
        each = ", ".join(f"with {NAMES[n]} at {share[n]:.0%}" for n in lit)
        what = f"W lights with pure colours: {each} of full"
    else:
        each = joined([f"{share[n]:.0%}" for n in lit])
        what = f"W lights with pure {joined([NAMES[n] for n in lit])}, at {each} of full"
    return Finding(
        "colour",
        what,
        "all LEDs",
        "drive of W when one channel alone is full: "
        + ", ".join(f"{NAMES[n]} {255 * share[n]:.0f}" for n in range(3)),
        "drive W with the smallest of red, green and blue, and subtract that from all three"
        " (emulator.canvas does).",
        _severity(most),
    )


def _severity(leak: float) -> Severity:
    return "fault" if leak > _MUCH_LEAK else "warning"


def _leak(measured: Measured) -> Finding | None:
    """Light of a channel in the others, added to the light or to the levels before the curve."""
    leak, light = measured.mixing.leak, measured.mixing.alone
    if leak is None:
        return None
    where = " before the curve" if leak.before else ""
    parts = leak.matrix[~np.eye(3, dtype=np.bool_)]
    most = float(np.abs(parts).max())
    if np.ptp(parts) <= 0.02 + 0.03 * most:
        share = float(parts.mean())
        what = (
            f"{share:.0%} of each channel leaks into the others{where}"
            if share > 0
            else f"colours are more saturated than meant: each channel takes {-share:.0%} of its"
            f" {'level' if leak.before else 'light'} from the others{where}"
        )
    else:
        leaks = sorted(
            ((leak.matrix[out, c], c, out) for c in range(3) for out in range(3) if out != c),
            key=lambda part: -abs(part[0]),
        )
        what = ", ".join(
            f"{abs(part):.0%} of {NAMES[c]} {'leaks into' if part > 0 else 'is taken from'}"
            f" {NAMES[out]}"
            for part, c, out in leaks
            if abs(part) > LEAST_LEAK
        )
        what += where
    rows = "; ".join(
        f"{NAMES[c]} alone shows "
        + ", ".join(f"{NAMES[out]} {light[out, c]:.1%}" for out in range(3))
        for c in range(3)
    )
    return Finding(
        "colour",
        what,
        "all LEDs",
        f"light at full: {rows}",
        "look for a matrix, a change of saturation or hue, or a conversion of colours, and remove"
        " it.",
        _severity(most),
    )


def _mixtures(measured: Measured) -> Finding | None:
    """Greys and mixtures that are not the sum of what their channels show alone."""
    mixing, display = measured.mixing, measured.display
    off = mixing.misses(mixing.sums)
    if off <= _MIXED:
        return None
    greys = measured.shown.greys
    light = greys[:, :3] + greys[:, 3:].sum(axis=-1, keepdims=True)
    own = measured.mixing.own
    level = int(np.abs(light - own).mean(axis=-1).argmax())
    shown, parts = light[level], own[level]
    shares = [float(a / max(b, 1e-9)) for a, b in zip(shown, parts, strict=True)]
    if abs(shown - parts).max() < _GREY_OFF:
        return _worst_mixture(measured, off)
    figures = ", ".join(f"{name} {share:.0%}" for name, share in zip(NAMES, shares, strict=True))
    told = f"at grey {level}, in shares of each channel alone: {figures}"
    cap = mixing.most_together
    remedy = (
        "look for a step that depends on the mixture: a limit for each LED, or a conversion to hue"
        " and saturation."
    )
    if "W" in display.chip.channels and greys[:, 3].max() > 2:
        what = _white_share(greys[level], parts, float(greys[0, 3]))
        remedy = (
            "after the curve, drive W with the smallest of red, green and blue, and subtract that"
            " from all three (emulator.canvas does)."
        )
    elif cap is not None:
        what = (
            f"red, green and blue of an LED together show at most {cap / 255:.0%} of one channel's"
            f" full light: white shows {shown.mean() / np.mean(parts):.0%} of it"
        )
    else:
        what = (
            f"mixtures are not the sum of their channels: grey {level} shows"
            f" {shown.mean() / max(float(np.mean(parts)), 1e-9):.0%} of red, green and blue alone"
        )
    return Finding(
        "colour", what, "all LEDs", f"{off:.0%} of the greys and mixtures are wrong; {told}", remedy
    )


def _worst_mixture(measured: Measured, off: float) -> Finding:
    """Mixtures that are not the sum of their channels, though greys are."""
    levels, told, shown = measured.mixing.worst
    return Finding(
        "colour",
        f"mixtures are not the sum of their channels: red, green, blue at {_numbers(levels)} show"
        f" drives {_numbers(shown)}; their single channels show {_numbers(told)}",
        "all LEDs",
        f"{off:.0%} of the greys and mixtures are wrong, though greys are right",
        "look for a step that depends on the mixture: saturation, or a limit for each LED.",
    )


def _numbers(values: Floats) -> str:
    return " ".join(f"{value:.0f}" for value in values)


def _white_share(grey: Floats, parts: Floats, dark: float) -> str:
    """What W does wrong in a grey (4,), if each channel alone shows parts (3,).

    dark: what it shows at black.
    """
    if dark > 127 and grey[3] < 0.5 * dark:
        return f"W is inverted: it shows drive {dark:.0f} at black and less the brighter the grey"
    colours, white, meant = float(grey[:3].mean()), float(grey[3]), float(parts.mean())
    shown = (colours + white) / max(meant, 1e-9)
    if colours > 0.9 * meant:
        return (
            f"W is added to red, green and blue, not subtracted from them: white shows {shown:.0%}"
        )
    if colours < 0.1 * meant:
        return f"W gives {white / max(meant, 1e-9):.0%} of the light that it should give for grey"
    return (
        f"white shows {shown:.0%} of what is meant: W gives {white / meant:.0%}, red, green and"
        f" blue {colours / meant:.0%}"
    )
