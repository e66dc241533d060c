"""What is wrong with the levels of the channels, in words and figures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from emulator.picture.curve import value_to_light
from harness.checks.white import NAMES, or_declare, shown_curve
from harness.measure.channel import LEAST_BASE, Channel
from harness.measure.laws import LEVELS, Law, exponent_of, nearly
from harness.measure.measured import Measured
from harness.measure.ranges import Range
from harness.result.finding import Finding, Severity
from harness.result.words import joined

_MOST_RANGES = 4  # reported one by one
_FEW_LEVELS = 40  # steps of 5 % at the bright end
_DIM = 6  # drive steps up to which cut levels are a warning
_EDGE = 249  # a cut from here on is rounding


def level_findings(measured: Measured) -> Iterator[Finding]:
    """Findings for all channels together, or for those that differ from the others."""
    groups: list[list[int]] = []
    for number, channel in enumerate(measured.channels):
        for group in groups:
            if channel.like(measured.channels[group[0]]):
                group.append(number)
                break
        else:
            groups.append([number])
    for group in groups:
        channel = measured.channels[group[0]]
        if channel.shown.max() < 1:  # never lights: `colour` reports it
            continue
        begin = ""
        if len(groups) > 1:
            verb = "do" if len(group) > 1 else "does"
            begin = f"{joined([NAMES[n] for n in group])} {verb} not follow the other channels: "
        where = "all LEDs" if len(group) == 3 else f"{joined([NAMES[n] for n in group])}, all LEDs"
        for what, severity, remedy in _wrong(channel, measured):
            at = ", ".join(
                f"{channel.shown[v]:.0f} ({channel.meant[v]:.0f})" for v in (16, 64, 128, 192, 255)
            )
            yield Finding(
                "levels",
                f"{begin}{what}",
                where,
                f"drives at levels 16, 64, 128, 192, 255 (meant in brackets): {at}",
                remedy,
                severity,
            )


_Said = tuple[str, Severity, str]


def _wrong(channel: Channel, measured: Measured) -> Iterator[_Said]:
    """What is wrong with one response: words, severity, remedy."""
    law, bits = channel.law, channel.bits
    misplaced = law is not None and law.kind in ("bits", "overflow")
    if bits is not None and not misplaced:
        yield _bits(channel, bits)
        if bits < 7:
            return
    if law is None and channel.distinct is not None:
        yield (
            f"only {channel.distinct} different levels are shown",
            "fault" if channel.distinct <= _FEW_LEVELS else "warning",
            "look for rounding or a table that is too coarse.",
        )
    elif law is None:
        yield from _ranges(channel)
    elif law.kind == "curve":
        yield _curve(channel, law, measured)
    elif law.kind == "twice":
        yield (
            f"levels go through the curve twice: half grey (128 of 255) shows"
            f" {_share(channel, 128)} of full light, not {_meant(channel, 128)}",
            "fault",
            "apply the curve once: look for a library, a table or a second function that applies it"
            " again.",
        )
    elif law.kind == "inverse":
        yield (
            f"levels go through the inverse of the curve: half grey (128 of 255) shows"
            f" {_share(channel, 128)} of full light, not {_meant(channel, 128)}",
            "fault",
            "raise the level to the power of the exponent, not of 1 / exponent.",
        )
    elif law.kind == "bits":
        yield law.what, "fault", "look for bits in the wrong place in the level arithmetic."
    elif law.kind == "overflow":
        falls = int(np.flatnonzero(np.diff(channel.shown) < -1)[0])
        yield (
            f"the light falls from level {falls} to level {falls + 1}: {law.what}, and values above"
            " 255 start again at 0",
            "fault",
            "limit values to 255 before they become bytes; calculate with more than 8 bits.",
        )
    elif law.kind == "before":
        yield from _before(channel, law)
    elif channel.right and nearly(channel.shown, channel.curve, channel.full) is not None:
        other = nearly(channel.shown, channel.curve, channel.full)
        follow = f"the curve {other}" if isinstance(other, str) else f"an exponent of {other:.2f}"
        yield (
            f"levels follow {follow}, [canvas] asks for {channel.curve}: nearly the same",
            "note",
            "none needed; or name that curve in [canvas].",
        )
    else:
        yield from _in_light(channel, law)


def _share(channel: Channel, level: int) -> str:
    """The light of a level, as a share of the light meant for full white."""
    return f"{channel.shown[level] / channel.meant[255]:.0%}"


def _meant(channel: Channel, level: int) -> str:
    return f"{channel.meant[level] / channel.meant[255]:.0%}"


def _bits(channel: Channel, bits: int) -> _Said:
    if bits == 1:
        first = int(np.flatnonzero(channel.shown > channel.shown.max() / 2)[0])
        return (
            "no level between dark and full is shown: 1 bit is left of 8, levels below"
            f" {first} are dark",
            "fault",
            "look for a division that drops the fraction, or a threshold, before the LEDs.",
        )
    different = len(np.unique(np.round(channel.shown)))
    severity: Severity = "note" if bits > 6 else "warning" if bits == 6 else "fault"
    return (
        f"{bits} bits are left of 8: {different} different levels are shown",
        severity,
        "look for shifts, masks or divisions that drop the low bits of levels or drives.",
    )


def _curve(channel: Channel, law: Law, measured: Measured) -> _Said:
    exponent, canvas = exponent_of(channel.shown), measured.display.canvas
    meant = exponent_of(255 * value_to_light(LEVELS / 255, canvas.curve)) or 1.0
    follow = (
        f"the curve {law.curve}"
        if isinstance(law.curve, str)
        else f"an exponent of {law.curve:.2f}"
    )
    declare = or_declare(measured) if shown_curve(measured) is not None else ""
    shown = channel.shown[128] / max(channel.shown[255], 1e-9)
    return (
        f"half grey (128 of 255) shows {shown:.0%} of full light, not {_meant(channel, 128)}: the"
        f" levels follow {follow}, the picture needs about {meant:.1f}"
        + (": no curve is applied" if law.curve == 1.0 else "")
        + (f" (an exponent of about {exponent:.1f})" if isinstance(law.curve, str) and exponent
           else ""),
        "warning" if declare else "fault",
        f"apply the curve of [canvas] ({canvas.curve}) to the picture (emulator.canvas does)."
        f"{declare}",
    )  # fmt: skip


def _before(channel: Channel, law: Law) -> Iterator[_Said]:
    """A factor and a shift of the levels before the curve."""
    parts = []
    if abs(law.scale - 1) > 0.015:
        parts.append(f"multiplied by {law.scale:.2f}")
    if abs(law.shift) >= 1.5:
        parts.append(f"{abs(law.shift):.0f} too {'high' if law.shift > 0 else 'low'}")
    ends = [f"level 0 shows as {max(law.shift, 0):.0f}"] if law.shift >= 1.5 else []
    if law.shift <= -1.5:
        ends.append(f"levels below {np.ceil(-law.shift / law.scale):.0f} are dark")
    cut = channel.cut_off
    if cut is not None and cut < _EDGE:
        ends.append(f"levels from {cut} on show full light")
    elif channel.gain < 0.97:
        ends.append(f"full shows {channel.gain:.0%} of its light")
    yield (
        f"levels are {' and '.join(parts) or 'changed'} before the curve: {', '.join(ends)}",
        "fault",
        "look for a brightness, contrast or offset that is applied to the levels; apply it to the"
        " light, after the curve.",
    )


def _in_light(channel: Channel, law: Law) -> Iterator[_Said]:
    """A gain or an offset on the light, as far as [canvas] cannot say it."""
    cut = channel.cut_off
    top = channel.shown.max() / channel.meant[255]
    if cut is not None and cut < _EDGE:
        full = f"{top:.0%} of full light" if top < 0.985 else "full light"
        factor = f": the light is {law.gain:.2f} times what is meant" if law.gain > 1.03 else ""
        yield (
            f"levels from {cut} on all show {full}{factor}",
            "fault",
            "look for a gain above 1, or a limit on the drive; levels above it all look the same.",
        )
    if law.kind == "offset" and law.offset < -1.5:
        first = int(np.flatnonzero(channel.shown > 0.5)[0])
        yield (
            f"levels below {first} are dark: every level loses {-law.offset:.0f} drive steps",
            "fault",
            "look for an offset that is subtracted from the drives.",
        )
    elif law.kind == "offset" and law.offset > 1.5 and channel.shown[0] < 0.5:
        yield (
            f"every level except black shows {law.offset:.0f} drive steps more than meant",
            "fault",
            "look for an offset that is added to the drives.",
        )


def _ranges(channel: Channel) -> Iterator[_Said]:
    """Ranges of levels that differ from the law of most levels; or that no such law exists."""
    base, share = channel.base
    falls = np.flatnonzero(np.diff(channel.shown) < -2.5)
    found = channel.ranges
    if share < LEAST_BASE or len(found) > 12:
        at = ", ".join(f"{_share(channel, v)} ({_meant(channel, v)})" for v in (64, 128, 192))
        if falls.size:
            first = int(falls[0])
            yield (
                f"the light falls from level {first} to level {first + 1}"
                + (f", and at {len(falls) - 1} other levels" if len(falls) > 1 else "")
                + f": {_share(channel, first)} → {_share(channel, first + 1)} of full",
                "fault",
                "look for an overflow, or for bits in the wrong place, in the level arithmetic.",
            )
        else:
            yield (
                "levels follow no curve that [canvas] can name: light at levels 64, 128, 192 is"
                f" {at} of full (meant in brackets)",
                "fault",
                "apply the curve of [canvas] to the picture (emulator.canvas does).",
            )
        return
    gain = float(np.median(base[64:] / channel.meant[64:]))
    if abs(gain - 1) > 0.05:
        yield (
            f"most levels show {gain:.0%} of the light that is meant"
            if np.ptp(base[64:] / channel.meant[64:]) < 0.05
            else f"most levels follow an exponent of {exponent_of(base) or 1:.1f}",
            "fault",
            "apply the curve and the factors of [canvas] to the picture.",
        )
    for part in found[:_MOST_RANGES]:
        what, remedy = _range(part, channel, base)
        dim = part.how == "dark" and part.first == 0 and channel.meant[part.last] < _DIM
        yield what, "warning" if dim else "fault", remedy
    if len(found) > _MOST_RANGES:
        yield (
            f"{len(found) - _MOST_RANGES} other ranges of levels differ from what is meant",
            "fault",
            "fix the findings above first, then check again.",
        )


def _range(part: Range, channel: Channel, base: object) -> tuple[str, str]:
    first, last = part.first, part.last
    name = f"level {first}" if first == last else f"levels {first} to {last}"
    verb = "shows" if first == last else "show"
    table = "look for a table with wrong entries, a threshold, or a step that cuts levels."
    full = channel.meant[255]
    if part.how == "dark":
        if first == 0:
            lit = channel.shown[last + 1] if last < 255 else 0.0
            cut = f"; the first that shows, shows drive {lit:.0f}" if lit > 1.5 else ""
            return f"levels below {last + 1} are dark{cut}", table
        if last == 255 and first < 255:
            return f"levels from {first} on are dark", table
        return f"{name} {'is' if first == last else 'are'} dark", table
    if part.how == "full":
        if last == 255 and first < 255:
            name = f"levels from {first} on"
        share = part.steps / full
        light = "full light" if share > 0.985 else f"{share:.0%} of full light"
        return f"{name} {verb} {light}", table
    if part.how == "stuck":
        return f"{name} all show {part.steps / full:.1%} of full light", table
    if part.how == "factor":
        return f"{name} {verb} {part.factor:.0%} of the light that is meant", table
    worst = int(part.factor)
    return (
        f"{name} {verb} the wrong light: level {worst} shows {part.steps / full:.1%} of"
        f" full, not {_meant(channel, worst)}",
        table,
    )
