"""The law that a channel's response follows: which change of the levels explains what was shown.

A response is a table (256,): the drive steps shown at each level, linear in light. Each law is a
function with at most two numbers. A law is accepted if it predicts the whole table, except for
rounding. Simple laws come first: a gain, another curve, changes before the curve, then overflow and
bits in the wrong place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Ints
from emulator.description.canvas import Curve
from emulator.picture.curve import light_to_value, value_to_light

Kind = Literal[
    "gain", "lifted", "offset", "curve", "twice", "inverse", "before", "overflow", "bits"
]

LEVELS = np.arange(256)
ROUNDING = 1.5  # drive steps: one dropped or dithered, and half a step rounded
# Of full light: how far a plain exponent of 2.2 is from the sRGB curve, 2.2 steps of 255.
NEARLY = 0.009
_APART = 0.5  # drive steps, root mean square: more than rounding leaves
_TIGHT = 0.003  # of full light: curves that differ by more are different
_MOST_WRONG = 0.35  # of the levels
_LEAST_EXPONENT = 0.2  # below it, levels hardly change the light
_NICE = (1.0, 1.5, 1.8, 2.0, 2.2, 2.4, 2.5, 2.6, 2.8, 3.0)  # exponents that code is written with


@dataclass(frozen=True)
class Law:
    """kind: which law. shown: (256,) the table it predicts. gain: a share of the light meant.

    offset: drive steps of light at level 0; negative if it is subtracted. curve: the curve it
    follows, if not the one meant. scale, shift: of the level before the curve ('before',
    'overflow'). what: words for 'overflow' and 'bits'.
    """

    kind: Kind
    shown: Floats
    gain: float = 1.0
    offset: float = 0.0
    curve: Curve | None = None
    scale: float = 1.0
    shift: float = 0.0
    what: str = ""


def meant_steps(curve: Curve, full: float) -> Floats:
    """(256,) drive steps that levels mean, for a curve and the share of light of full white."""
    return np.asarray(255 * full * value_to_light(LEVELS / 255, curve))


def allowed(shown: Floats, meant: Floats, part: float = NEARLY) -> float:
    """Drive steps by which a right table may differ because of rounding."""
    return ROUNDING + part * float(max(shown.max(), meant.max()))


def law_of(shown: Floats, curve: Curve, full: float) -> Law | None:
    """The first law that predicts the table `shown` (256,); None if none does."""
    meant = meant_steps(curve, full)
    tolerance = allowed(shown, meant)
    changed = [law for law in _in_light(shown, meant) if _holds(law, shown, tolerance)]
    before = _before(shown, meant, curve, full)
    if before is not None and _holds(before, shown, tolerance):
        changed.append(before)
    plain = [law for law in changed if law.kind in ("gain", "lifted")]
    if plain:
        return plain[0]
    curved = [
        law
        for law in _curves(shown, curve, full)
        if _holds(law, shown, allowed(shown, meant, _TIGHT))
    ]
    if curved:
        return min(curved, key=lambda law: _rms(law, shown) + 0.2 * (law.kind == "curve"))
    if changed:
        return min(changed, key=lambda law: _rms(law, shown))
    # If most levels are right, a range of wrong ones is reported, not a law that might explain it.
    if (np.diff(shown) < -1).any() and (np.abs(shown - meant) > tolerance).mean() > _MOST_WRONG:
        for most, laws in ((0.03, _bits(meant)), (0.08, _overflow(meant))):
            off = [(float((np.abs(law.shown - shown) > tolerance).mean()), law) for law in laws]
            share, best = min(off, key=lambda pair: pair[0])
            if share <= most:
                return best
    return None


def nearly(shown: Floats, curve: Curve, full: float) -> Curve | None:
    """A curve that a table (256,) follows clearly better than the one meant, which also holds."""
    gain = next((law for law in _in_light(shown, meant_steps(curve, full))), None)
    laws = [law for law in _curves(shown, curve, full) if law.kind == "curve"]
    if gain is None or not laws:
        return None
    best = min(laws, key=lambda law: _rms(law, shown))
    apart = _rms(gain, shown) > max(_APART, 1.6 * _rms(best, shown))
    return best.curve if apart else None


def exponent_of(shown: Floats) -> float | None:
    """The exponent that fits a table (256,) best; None if no level between dark and full shows."""
    full = shown[255]
    if full <= 0:
        return None
    share = shown / full
    usable = (share > 0.02) & (LEVELS > 0) & (LEVELS < 255)
    if usable.sum() < 3:
        return None
    x, y = np.log(LEVELS[usable] / 255), np.log(share[usable])
    return float((x * y).sum() / (x * x).sum())


def _holds(law: Law, shown: Floats, tolerance: float) -> bool:
    return bool((np.abs(law.shown - shown) <= tolerance).all())


def _rms(law: Law, shown: Floats) -> float:
    return float(np.sqrt(((law.shown - shown) ** 2).mean()))


def _open(shown: Floats) -> NDArray[np.bool_]:
    """(256,) levels at which the table is neither dark nor cut off."""
    return np.asarray((shown > 0.5) & (shown < shown.max() - 0.5))


def _in_light(shown: Floats, meant: Floats) -> Iterator[Law]:
    """A factor, a lifted black, or both, on the light."""
    top = shown.max()
    part = _open(shown)
    if part.sum() < 3:
        part = shown > 0.5
    if not part.any():
        return
    gain = float((shown[part] * meant[part]).sum() / (meant[part] ** 2).sum())
    yield Law("gain", np.clip(gain * meant, 0, top), gain)
    black = float(shown[0])
    if black > 0:
        yield Law("lifted", np.maximum(meant, black), 1.0, black)
        yield Law("lifted", np.minimum(meant + black, max(top, 255.0)), 1.0, black)
        lifted = black + (1 - black / 255) * meant
        yield Law("lifted", lifted, 1.0, black)
    if part.sum() >= 3:
        slope, offset = np.polyfit(meant[part], shown[part], 1)
        if slope > 0:
            affine = np.clip(slope * meant + offset, 0, top)
            yield Law("offset", affine, float(slope), float(offset))


def _curves(shown: Floats, curve: Curve, full: float) -> Iterator[Law]:
    """Another curve than the one meant, the same twice, or its inverse."""
    values = LEVELS / 255
    once = value_to_light(values, curve)
    eight_bit = np.round(255 * once) / 255
    for again in dict.fromkeys((curve, "sRGB", 2.2)):
        for first in (once, eight_bit):
            yield _scaled("twice", shown, value_to_light(first, again), full)
    yield _scaled("inverse", shown, light_to_value(values, curve), full)
    named: tuple[Curve, ...] = ("sRGB", "L*")
    for other in named:
        if other != curve:
            yield _scaled("curve", shown, value_to_light(values, other), full, other)
    exponent = exponent_of(shown)
    if exponent is None or exponent < _LEAST_EXPONENT:
        return
    near = np.round(np.arange(max(exponent - 0.6, 0.2), exponent + 0.6, 0.02), 2)
    powers = [_scaled("curve", shown, values**p, full, float(p)) for p in near]
    best = min(powers, key=lambda law: _rms(law, shown))
    for nice in _NICE:
        law = _scaled("curve", shown, values**nice, full, nice)
        if _rms(law, shown) < _rms(best, shown) + 0.25:
            best = law
            break
    yield best


def _scaled(
    kind: Kind, shown: Floats, light: Floats, full: float, curve: Curve | None = None
) -> Law:
    """A law of this shape (256,), with the gain that fits best."""
    part = _open(shown)
    gain = float((shown[part] * light[part]).sum() / max((light[part] ** 2).sum(), 1e-9))
    table = gain * light
    return Law(kind, table, gain / (255 * full), curve=curve)


def _before(shown: Floats, meant: Floats, curve: Curve, full: float) -> Law | None:
    """A factor and a shift of the levels before they go through the curve."""
    part = _open(shown) & (shown > 5)
    if part.sum() < 8:
        return None
    value = 255 * light_to_value(shown[part] / (255 * full), curve)
    scale, shift = np.polyfit(LEVELS[part], value, 1)
    if scale <= 0:
        return None
    table = _through(meant, np.clip(scale * LEVELS + shift, 0, 255))
    table = np.minimum(table, shown.max())
    return Law("before", table, scale=float(scale), shift=float(shift))


def _through(meant: Floats, value: Floats) -> Floats:
    """The light meant at values (256,), which may be between levels."""
    return np.interp(value, LEVELS, meant)


def _overflow(meant: Floats) -> Iterator[Law]:
    """Levels or drives that exceed 255 and start again at 0."""
    drive = np.round(meant)
    for scale in np.round(np.arange(1.02, 4.3, 0.01), 2):
        words = f"{scale:g} times too high"
        table = meant[np.floor(LEVELS * scale).astype(np.int64) % 256]
        yield Law("overflow", table, scale=float(scale), what=f"levels are {words}")
        yield Law("overflow", np.floor(drive * scale) % 256, what=f"the light is {words}")
    for shift in range(1, 256):
        for way, number in (("high", shift), ("low", -shift)):
            words = f"{shift} too {way}"
            table = meant[(LEVELS + number) % 256]
            yield Law("overflow", table, shift=number, what=f"levels are {words}")
            yield Law("overflow", (drive + number) % 256, what=f"drives are {words}")


def _bits(meant: Floats) -> Iterator[Law]:
    """Bits in the wrong place, or stuck, in the level or in the drive."""
    drive = np.round(meant).astype(np.int64)
    for what, change in _rearranged():
        for noun, table in (
            ("level", meant[change(LEVELS)]),
            ("drive", change(np.clip(drive, 0, 255)).astype(float)),
        ):
            yield Law(
                "bits", np.asarray(table, dtype=np.float64), what=what.format(f"every {noun}")
            )


def _rearranged() -> Iterator[tuple[str, Callable[[Ints], Ints]]]:
    """Words, and a function on 8 bits."""
    yield "{} is inverted: dark shows full light, and full dark", lambda x: 255 - x
    yield "the bits of {} are reversed", _reversed
    yield "the two halves of {}'s bits are exchanged", lambda x: (x >> 4) | ((x & 15) << 4)
    yield "the highest bit of {} is inverted, as of signed numbers", lambda x: x ^ 128
    yield "{} is sent in Gray code", lambda x: x ^ (x >> 1)
    for by in range(1, 8):
        yield (
            f"the bits of {{}} are shifted by {by}, and the highest are lost",
            lambda x, by=by: (x << by) & 255,  # type: ignore[misc]
        )
        yield (
            f"the bits of {{}} are rotated by {by}",
            lambda x, by=by: ((x << by) | (x >> (8 - by))) & 255,  # type: ignore[misc]
        )
    for bit in range(2, 8):
        yield (
            f"bit {bit} of {{}} is always 0",
            lambda x, bit=bit: x & ~(1 << bit),  # type: ignore[misc]
        )
        yield (
            f"bit {bit} of {{}} is always 1",
            lambda x, bit=bit: x | (1 << bit),  # type: ignore[misc]
        )


def _reversed(x: Ints) -> Ints:
    return np.asarray(sum(((x >> n) & 1) << (7 - n) for n in range(8)))
