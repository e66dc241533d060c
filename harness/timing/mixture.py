"""Pictures that shine through: what each LED shows as a mixture of this picture and earlier ones.

Fitted by least squares in the domain in which the code under test mixes: drives, or levels before
a curve. Code that shows the brighter of two pictures does not add them; that is tried as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Floats
from emulator.description.canvas import Curve
from emulator.description.display import Display
from emulator.picture.curve import light_to_value, value_to_light
from harness.timing.answers import FIRST, Answers, Indices, Levels

_TAPS = 6  # pictures, this one and those before it, that are looked for
_MOST_LEDS = 50  # of the LEDs affected: enough, and the fit stays small
_FITS = 0.02  # root of the mean square of what is left, in shares of full
_LEAST = 0.015  # smaller shares do not count as a mixture
_SATURATED = 0.98


@dataclass(frozen=True)
class Mixture:
    """weights: of this picture, the one before, and so on. domain: where they add up."""

    weights: tuple[float, ...]
    domain: str
    brighter: bool = False  # the brighter one is shown, not the sum
    left: float = 0.0  # what the model does not explain, in shares of full

    @property
    def share(self) -> float:
        """The share of all pictures before."""
        return sum(self.weights[1:])

    @property
    def of_one(self) -> bool:
        """Whether only the picture just before shines through."""
        return self.weights[1] > 0.85 * self.share


def find_mixture(
    answers: Answers, shown: Levels, leds: Indices, display: Display
) -> Mixture | None:
    """The mixture that these LEDs show; None if none fits."""
    chosen = leds[np.linspace(0, leds.size - 1, min(leds.size, _MOST_LEDS)).round().astype(int)]
    came, wanted = (_light(levels[:, chosen]) for levels in (answers.levels, shown))
    full = wanted.max(axis=0)
    bright = full >= max(0.2 * full.max(), 1)
    came, wanted = came[:, bright] / full[bright], wanted[:, bright] / full[bright]
    # (T, taps, M): what each of the last pictures would show.
    times = np.arange(max(FIRST, _TAPS), answers.frames)
    past = np.stack([wanted[answers.order[times - tap]] for tap in range(_TAPS)], axis=1)
    came = came[times]
    found = [
        _added(came, past, display.canvas.curve, "levels, before the curve"),
        _added(came, past, "sRGB", "levels, before the curve"),
        _added(came, past, 1.0, "drives"),
        _brighter(came, past),
    ]
    best = min(found, key=lambda mixture: mixture.left)
    return best if best.left <= _FITS and best.share > _LEAST else None


def _added(came: Floats, past: Floats, curve: Curve, domain: str) -> Mixture:
    value, values = (np.asarray(light_to_value(x.clip(0, 1), curve)) for x in (came, past))
    free = value < _SATURATED
    # Saturated entries say little; use only those that should be full.
    taps = np.moveaxis(values, 1, -1)
    use = free | (taps.max(axis=-1) > _SATURATED)
    weights = np.linalg.lstsq(taps[use], value[use], rcond=None)[0]
    inside = np.linalg.lstsq(taps[free], value[free], rcond=None)[0] if free.any() else weights
    options = []
    for w in (weights, inside):
        predicted = value_to_light((taps @ w).clip(0, 1), curve)
        left = float(np.sqrt(np.mean((predicted - came.clip(0, 1)) ** 2)))
        options.append(Mixture(tuple(np.clip(w, 0, None).tolist()), domain, left=left))
    return min(options, key=lambda mixture: mixture.left)


def _brighter(came: Floats, past: Floats) -> Mixture:
    """The brighter of this picture and a share of each one before."""
    shares = [1.0]
    for tap in range(1, _TAPS):
        alone = (past[:, tap] > _SATURATED) & (np.delete(past, tap, axis=1) < 0.01).all(axis=1)
        shares.append(float(np.median(came[alone])) if alone.any() else 0.0)
    weights = np.array(shares)
    predicted = (past * weights[:, None]).max(axis=1)
    left = float(np.sqrt(np.mean((predicted - came) ** 2)))
    return Mixture(tuple(shares), "light", True, left)


def _light(levels: Levels) -> Floats:
    """(…, N, 3) light of drives: a white channel adds to all three, and takes from them."""
    light = levels[..., :3].astype(np.float64)
    return np.asarray(light + levels[..., 3:].sum(axis=-1, keepdims=True))
