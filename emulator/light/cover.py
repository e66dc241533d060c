"""The light of one LED on the front of its cover, in closed form and as a sum of Gaussians.

An LED of intensity I0·cos^m θ at depth h lights the front with E = I0·cos^(m+3) θ / h²; for a
Lambertian emitter (m = 1) that is the cos⁴ law. Written with r = h·tan θ it is a power of
h² + r², and since s^−p = 1/Γ(p) ∫ t^(p−1) e^(−st) dt, a sum over t is a sum of Gaussians in r.
Each is separable, and walls, mirror images and blur act on each axis of it in closed form.

Not modelled: light thrown back and forth between front and board, polish of white walls (mirror
images stand for matt ones), and the thickness of walls other than as a smaller opening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.display import Display
from emulator.description.light import Cover

Floats = NDArray[np.float64]

# Depths within which an LED's light is reckoned with: what lies beyond adds at most 1/64² of the
# light of a wall lit all over.
REACH = 64.0
_MOST_IMAGES = 60
_FAINT = 1e-4  # images fainter than this, of the LED itself, are left out


def beam_exponent(half_angle_deg: float) -> float:
    """m of a beam I0·cos^m θ that has fallen to one half at an angle; 1 is Lambertian."""
    return math.log(0.5) / math.log(math.cos(math.radians(half_angle_deg)))


def illuminance_lx(
    offset_mm: ArrayLike, depth_mm: float, intensity_cd: float = 1.0, exponent: float = 1.0
) -> Floats:
    """Illuminance behind the front, any shape, at a distance from the point before a lone LED.

    E = I0·cos^(m+3) θ / h², tan θ = offset / depth: no walls, a point source.
    """
    tan = np.asarray(offset_mm, dtype=np.float64) / depth_mm
    lux: Floats = intensity_cd / (depth_mm / 1000) ** 2 * (1 + tan * tan) ** (-(exponent + 3) / 2)
    return lux


@dataclass(frozen=True)
class Axis:
    """One axis of the front: the distance from LED to LED, and the opening between walls.

    opening_mm is None without walls; reflectance is that of the walls, 0 for black ones.
    """

    pitch_mm: float
    opening_mm: float | None
    reflectance: float = 0.0


def axes(display: Display) -> tuple[Axis, Axis]:
    """The axes across and down of a display."""
    cover = display.cover
    if cover.walls == "none":
        across, down = (Axis(pitch, None) for pitch in display.grid.pitches_mm)
        return across, down
    mirror = cover.wall_reflectance if cover.walls == "white" else 0.0
    across, down = (
        Axis(pitch, min(cover.opening_mm or pitch, pitch), mirror)
        for pitch in display.grid.pitches_mm
    )
    return across, down


@dataclass(frozen=True)
class Spot:
    """The light of one LED on the front: a sum over k of weight · f_k(x) · f_k(y).

    sigma_mm and weight: (K,). Weights are in lux for an LED of one candela. blur_mm: what the
    front scatters and the eye blurs, as one standard deviation. depth_mm, exponent: of the LED.
    """

    sigma_mm: Floats
    weight: Floats
    blur_mm: float
    depth_mm: float
    exponent: float

    @classmethod
    def before(cls, display: Display, blur_mm: float = 0.0) -> Spot:
        """The spot of an LED of a display; blur_mm comes on top of the front's own scatter."""
        cover, half_angle_deg = display.cover, display.chip.half_angle_deg
        widest_mm = cover.opening_mm or max(display.grid.pitches_mm)
        exponent = beam_exponent(half_angle_deg)
        power, depth_mm = (exponent + 3) / 2, cover.depth_mm
        # In units of the depth, s = 1 + r²/h² runs from 1 to its value at the furthest corner.
        furthest = 2 * REACH**2 if cover.walls == "none" else _furthest(cover, widest_mm)
        # The trapezoid rule over ln t is then within 2e-4 of the integral, relative, all the way.
        step = 1.0 / math.sqrt(power)
        least = math.log(1e-5) / power - math.log(1 + furthest)
        log_t = np.arange(least, math.log(power + 6 * math.sqrt(power) + 8), step)
        t = np.exp(log_t)
        lux = 1 / (depth_mm / 1000) ** 2
        weight = lux * step / math.gamma(power) * np.exp(power * log_t - t)
        blur_mm = math.hypot(cover.scatter_mm, blur_mm)
        return cls(depth_mm / np.sqrt(2 * t), weight, blur_mm, depth_mm, exponent)

    def reach_mm(self, axis: Axis) -> float:
        """How far from the LED its light goes on an axis."""
        if axis.opening_mm is None:
            return min(REACH * self.depth_mm, 5.0 * math.hypot(self.sigma_mm.max(), self.blur_mm))
        return axis.opening_mm / 2 + 6 * self.blur_mm

    def profiles(self, offset_mm: ArrayLike, axis: Axis) -> Floats:
        """f_k (…, K) at offsets (…) from the LED along an axis."""
        x = np.asarray(offset_mm, dtype=np.float64)[..., None]
        if axis.opening_mm is None:
            wide = self.sigma_mm**2 + self.blur_mm**2
            spread: Floats = self.sigma_mm / np.sqrt(wide) * np.exp(-(x**2) / (2 * wide))
            return spread
        total = np.zeros(np.broadcast_shapes(x.shape, self.sigma_mm.shape))
        for image in range(self._images(axis)):
            share = axis.reflectance**image
            for source_mm in {image * axis.opening_mm, -image * axis.opening_mm}:
                total += share * self._cut(x, source_mm, axis.opening_mm / 2)
        return total

    def _images(self, axis: Axis) -> int:
        """How many mirror images on each side matter, the LED itself among them."""
        assert axis.opening_mm is not None
        number = np.arange(1, _MOST_IMAGES + 1)
        far = 1 + (number * axis.opening_mm / self.depth_mm) ** 2
        # Along one axis, with the other summed over: half a power less than in the plane.
        seen = axis.reflectance**number * far ** (-(self.exponent + 2) / 2)
        return 1 + int((seen > _FAINT).sum())

    def _cut(self, x: Floats, source_mm: float, half_mm: float) -> Floats:
        """A source's Gaussian, cut off beyond ±half_mm, then blurred."""
        sigma, blur = self.sigma_mm, self.blur_mm
        if blur == 0:
            inside = np.abs(x) <= half_mm
            return np.where(inside, np.exp(-((x - source_mm) ** 2) / (2 * sigma**2)), 0.0)
        wide = sigma**2 + blur**2
        # The product of the two Gaussians under the blur's integral is one again.
        middle = (x * sigma**2 + source_mm * blur**2) / wide
        narrow = sigma * blur / np.sqrt(wide) * math.sqrt(2)
        within = _erf((half_mm - middle) / narrow) + _erf((half_mm + middle) / narrow)
        cut: Floats = (
            sigma / np.sqrt(wide) * np.exp(-((x - source_mm) ** 2) / (2 * wide)) * within / 2
        )
        return cut


def _furthest(cover: Cover, opening_mm: float) -> float:
    """The furthest from which light comes, squared, in depths: a corner, seen from an image."""
    images = _MOST_IMAGES if cover.walls == "white" else 0
    return min(2 * ((images + 0.5) * opening_mm / cover.depth_mm) ** 2, 2 * REACH**2)


def _erf(x: Floats) -> Floats:
    """Error function within 1.5e-7 (Abramowitz & Stegun 1964, 7.1.26)."""
    t = 1 / (1 + 0.3275911 * np.abs(x))
    series = t * (
        0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))
    )
    return np.sign(x) * (1 - series * np.exp(-x * x))
