"""The light of one LED on the front of its cover, in closed form and as a sum of Gaussians.

A point of intensity I0·cos^m θ at depth h lights the front with E = I0·cos^(m+3) θ / h²; for a
Lambertian emitter (m = 1) that is the cos⁴ law. Written with r = h·tan θ it is a power of
h² + r², and since s^−p = 1/Γ(p) ∫ t^(p−1) e^(−st) dt, a sum over t is a sum of Gaussians in r.
Each is separable, and walls, mirror images and blur have closed forms on each axis. An LED is an
even square of such points, `chip.emitter_mm` wide. The mean over it is separable too; Gauss's rule
calculates it. LEDs in series on one chip are as many such squares, evenly along the strip in one
cell.

Not modelled: light that goes back and forth between front and board, the gloss of white walls
(mirror images represent matt ones), the thickness of walls except as a smaller opening. A part of
an LED that is beneath a wall gives no light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Floats
from emulator.description.display import Display

# An LED's light counts within so many depths: the rest is at most 1/64² of the light of a fully
# lit wall.
REACH = 64.0
_MOST_IMAGES = 60
_FAINT = 1e-4  # images fainter than this, of the LED itself, are left out
# At a depth of less than an eighth of its size, an LED's edges are drawn as soft as at an eighth,
# so that few points of Gauss's rule are enough.
_SOFTEST = 1 / 8


def beam_exponent(half_angle_deg: float) -> float:
    """m of a beam I0·cos^m θ that falls to one half at an angle; 1 is Lambertian."""
    return math.log(0.5) / math.log(math.cos(math.radians(half_angle_deg)))


def illuminance_lx(
    offset_mm: ArrayLike, depth_mm: float, intensity_cd: float = 1.0, exponent: float = 1.0
) -> Floats:
    """Illuminance on the back of the front, shape of `offset_mm`, from a single LED. [lx]

    offset_mm: distance from the point in front of the LED. E = I0·cos^(m+3) θ / h²,
    tan θ = offset / depth: no walls, a point source.
    """
    tan = np.asarray(offset_mm, dtype=np.float64) / depth_mm
    lux: Floats = intensity_cd / (depth_mm / 1000) ** 2 * (1 + tan * tan) ** (-(exponent + 3) / 2)
    return lux


@dataclass(frozen=True)
class Axis:
    """One axis of the front: the distance from LED to LED, and the opening between walls.

    opening_mm is None without walls; reflectance is that of the walls, 0 for black ones. off_mm:
    distance of the LED from the middle of its cell. series: LEDs of a cell along this axis, evenly
    over the pitch, that share its light.
    """

    pitch_mm: float
    opening_mm: float | None
    reflectance: float = 0.0
    off_mm: float = 0.0
    series: int = 1

    @property
    def leds_mm(self) -> Floats:
        """(series,) where the LEDs of a cell sit, from its middle."""
        number = np.arange(self.series) - (self.series - 1) / 2
        return np.asarray(self.off_mm + self.pitch_mm / self.series * number)


def axes(display: Display) -> tuple[Axis, Axis]:
    """The axes across and down of a display."""
    cover = display.cover
    off = cover.off_centre_mm
    along_columns, series = display.wiring.along == "columns", display.chip.in_series
    off_mm, each = ((off, 0.0), (1, series)) if along_columns else ((0.0, off), (series, 1))
    mirror = cover.wall_reflectance if cover.walls == "white" else 0.0
    across, down = (
        Axis(pitch, None, 0.0, off, count)
        if cover.walls == "none"
        else Axis(pitch, min(cover.opening_mm or pitch, pitch), mirror, off, count)
        for pitch, off, count in zip(display.grid.pitches_mm, off_mm, each, strict=True)
    )
    return across, down


@dataclass(frozen=True)
class Spot:
    """The light of one LED on the front: a sum over k of weight · f_k(x) · f_k(y).

    sigma_mm and weight: (K,). Weights are in lux for an LED of one candela. blur_mm: scatter of the
    front and blur of the eye together, a standard deviation. depth_mm, exponent, emitter_mm: those
    of the LED.
    """

    sigma_mm: Floats
    weight: Floats
    blur_mm: float
    depth_mm: float
    exponent: float
    emitter_mm: float = 0.0

    @classmethod
    def before(cls, display: Display, blur_mm: float = 0.0) -> Spot:
        """The spot of an LED of a display; blur_mm is added to the front's own scatter."""
        cover, emitter_mm = display.cover, display.chip.emitter_mm
        exponent = beam_exponent(display.chip.half_angle_deg)
        power, depth_mm = (exponent + 3) / 2, cover.depth_mm
        # In units of the depth, s = 1 + r²/h² goes from 1 to its value at the furthest corner.
        each = (_furthest(axis, depth_mm, exponent) for axis in axes(display))
        furthest = 2 * min(max(each), REACH) ** 2
        # Over that whole range the trapezoid rule over ln t has a relative error of at most 2e-4.
        step = 1.0 / math.sqrt(power)
        least = math.log(1e-5) / power - math.log(1 + furthest)
        log_t = np.arange(least, math.log(power + 6 * math.sqrt(power) + 8), step)
        t = np.exp(log_t)
        lux = 1 / (depth_mm / 1000) ** 2
        weight = lux * step / math.gamma(power) * np.exp(power * log_t - t)
        sharp_mm = depth_mm / np.sqrt(2 * t)
        sigma_mm = np.maximum(sharp_mm, _SOFTEST * emitter_mm / math.sqrt(2 * t[-1]))
        weight *= (sharp_mm / sigma_mm) ** 2  # the flux stays the same
        blur_mm = math.hypot(cover.scatter_mm, blur_mm)
        return cls(sigma_mm, weight, blur_mm, depth_mm, exponent, emitter_mm)

    def reach_mm(self, axis: Axis) -> float:
        """How far from the middle of the LED's cell its light reaches on an axis, in mm."""
        if axis.opening_mm is None:
            sharp_mm = min(REACH * self.depth_mm, 5.0 * float(self.sigma_mm.max()))
            far_mm = math.hypot(sharp_mm, 5.0 * self.blur_mm)
            return far_mm + float(np.abs(axis.leds_mm).max()) + self.emitter_mm / 2
        return axis.opening_mm / 2 + 6 * self.blur_mm

    def profiles(self, offset_mm: ArrayLike, axis: Axis) -> Floats:
        """f_k (…, K) at offsets (…), in mm, from the middle of the LED's cell along an axis."""
        x = np.asarray(offset_mm, dtype=np.float64)[..., None]
        if axis.opening_mm is None:
            return self.spread(offset_mm, axis, self.blur_mm**2)
        total = np.zeros(np.broadcast_shapes(x.shape, self.sigma_mm.shape))
        images = _images(axis, self.depth_mm, self.exponent)
        for point_mm, share in zip(*self._points(axis), strict=True):
            for image in range(-images, images + 1):
                source_mm = image * axis.opening_mm + (-1) ** image * point_mm
                part = share * axis.reflectance ** abs(image)
                total += part * self._cut(x, source_mm, axis.opening_mm / 2)
        return total

    def spread(self, offset_mm: ArrayLike, axis: Axis, variance_mm2: float) -> Floats:
        """Without walls, f_k (…, K) blurred by a Gaussian of that variance.

        A negative variance, above −σ² of each Gaussian, sharpens; `far` needs that.
        """
        x = np.asarray(offset_mm, dtype=np.float64)[..., None]
        wide = self.sigma_mm**2 + variance_mm2
        total = np.zeros(np.broadcast_shapes(x.shape, wide.shape))
        for point_mm, share in zip(*self._points(axis), strict=True):
            total += share * np.exp(-((x - point_mm) ** 2) / (2 * wide))
        return total * (self.sigma_mm / np.sqrt(wide))

    def _points(self, axis: Axis) -> tuple[Floats, Floats]:
        """Points that represent the LEDs of a cell on an axis, in mm from its middle, and their
        shares."""
        if self.emitter_mm == 0:
            inside = np.abs(axis.leds_mm) <= (axis.opening_mm or np.inf) / 2
            return axis.leds_mm[inside], np.full(int(inside.sum()), 1 / axis.series)
        parts = []
        for led_mm in axis.leds_mm:
            ends = led_mm + self.emitter_mm / 2 * np.array([-1.0, 1.0])
            if axis.opening_mm is not None:
                ends = np.clip(ends, -axis.opening_mm / 2, axis.opening_mm / 2)
            parts.append(gauss(ends, self._count))
        at, weight = (np.concatenate(values) for values in zip(*parts, strict=True))
        return at, weight / (self.emitter_mm * axis.series)

    @cached_property
    def _count(self) -> int:
        """How many points of Gauss's rule this source needs for 1e-5 of the integral (measured)."""
        wide = self.emitter_mm / max(self.depth_mm, _SOFTEST * self.emitter_mm)
        return 2 + math.ceil(2.5 * wide * math.sqrt((self.exponent + 3) / 2))

    def _cut(self, x: Floats, source_mm: float, half_mm: float) -> Floats:
        """The Gaussian of a source, cut off beyond ±half_mm, then blurred."""
        sigma, blur = self.sigma_mm, self.blur_mm
        if blur == 0:
            inside = np.abs(x) <= half_mm
            return np.where(inside, np.exp(-((x - source_mm) ** 2) / (2 * sigma**2)), 0.0)
        wide = sigma**2 + blur**2
        # The product of the two Gaussians under the blur's integral is a Gaussian again.
        middle = (x * sigma**2 + source_mm * blur**2) / wide
        narrow = sigma * blur / np.sqrt(wide) * math.sqrt(2)
        within = erf((half_mm - middle) / narrow) + erf((half_mm + middle) / narrow)
        cut: Floats = (
            sigma / np.sqrt(wide) * np.exp(-((x - source_mm) ** 2) / (2 * wide)) * within / 2
        )
        return cut


@lru_cache(maxsize=256)
def _legendre(count: int) -> tuple[Floats, Floats]:
    return np.polynomial.legendre.leggauss(count)


def gauss(ends_mm: Floats, count: int) -> tuple[Floats, Floats]:
    """Points between two ends (2,) and their weights, both (count,): Gauss and Legendre's rule."""
    at, weight = _legendre(count)
    half = (ends_mm[1] - ends_mm[0]) / 2
    return ends_mm.mean() + half * at, half * weight


def _images(axis: Axis, depth_mm: float, exponent: float) -> int:
    """How many mirror images on each side count."""
    assert axis.opening_mm is not None
    number = np.arange(1, _MOST_IMAGES + 1)
    far = 1 + (number * axis.opening_mm / depth_mm) ** 2
    # On one axis, summed over the other one: half a power less than in the plane.
    seen = axis.reflectance**number * far ** (-(exponent + 2) / 2)
    return int((seen > _FAINT).sum())


def _furthest(axis: Axis, depth_mm: float, exponent: float) -> float:
    """The longest way of light along an axis, in depths: from an image to a wall."""
    if axis.opening_mm is None:
        return REACH
    return (_images(axis, depth_mm, exponent) + 1) * axis.opening_mm / depth_mm


def erf(x: Floats) -> Floats:
    """Error function, any shape, within 1.5e-7 (Abramowitz & Stegun 1964, 7.1.26)."""
    t = 1 / (1 + 0.3275911 * np.abs(x))
    series = t * (
        0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))
    )
    return np.sign(x) * (1 - series * np.exp(-x * x))
