"""The room: what the wall hangs on, floor, lamps, windows, and people who pass.

`Room` settings give light in lux; a matt surface of reflectance ρ in E lux has ρ·E/π cd/m².
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.harness.survey.filming.settings import Room

Image = NDArray[np.float32]
_WARM = np.array([1.12, 1.0, 0.82], np.float32)  # lamps, as the white balance leaves them
_DAY = np.array([0.95, 1.0, 1.12], np.float32)


def cloud(shape: tuple[int, int], grain: float, rng: np.random.Generator) -> Image:
    """Smooth noise (h, w) of zero mean and unit variance, `grain` px large."""
    size = tuple(max(int(side / grain) + 2, 3) for side in shape)
    noise = rng.standard_normal(size).astype(np.float32)
    noise = cv2.resize(noise, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray((noise - noise.mean()) / max(float(noise.std()), 1e-6), np.float32)


def plaster(shape: tuple[int, int], rng: np.random.Generator) -> Image:
    """Reflectance (h, w, 3) of a painted wall, with stains."""
    paint = rng.uniform(0.25, 0.75) * (1 + 0.08 * rng.standard_normal(3))
    stains = 1 + 0.05 * cloud(shape, 60, rng) + 0.02 * cloud(shape, 5, rng)
    return np.asarray(stains[..., None] * paint, np.float32)


def wood(shape: tuple[int, int], rng: np.random.Generator) -> Image:
    """Reflectance (h, w, 3) of timber: streaks across."""
    streaks = cloud((shape[0], max(shape[1] // 30, 2)), 2, rng)
    streaks = cv2.resize(streaks, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)
    brown = np.array([0.42, 0.27, 0.15]) * rng.uniform(0.6, 1.3)
    return np.asarray(np.clip(1 + 0.15 * streaks, 0.4, 1.6)[..., None] * brown, np.float32)


def motif(shape: tuple[int, int], rng: np.random.Generator) -> Image:
    """Transmission (h, w, 3), 0.12 to 1, of an invented print: areas of colour, and dark lines."""
    areas = cloud(shape, min(shape) / 5, rng)
    inks = rng.uniform(0.35, 1.0, (6, 3)).astype(np.float32)
    level = np.clip(((areas + 2) / 4 * len(inks)).astype(int), 0, len(inks) - 1)
    print_ = inks[level]
    lines = np.abs(cloud(shape, min(shape) / 4, rng)) < 0.05
    print_[lines] *= 0.3
    return np.asarray(np.maximum(print_, 0.12), np.float32)


def lit_unevenly(shape: tuple[int, int], rng: np.random.Generator) -> Image:
    """(h, w, 3) light of the room on its surfaces, 1 in the mean: nearer to a lamp is brighter."""
    down, across = np.mgrid[-1 : 1 : complex(shape[0]), -1 : 1 : complex(shape[1])]
    angle = rng.uniform(0, 2 * math.pi)
    slope = 1 + rng.uniform(0, 0.5) * (math.cos(angle) * across + math.sin(angle) * down) / 1.5
    mix = rng.random()
    return np.asarray(slope[..., None] * (mix * _WARM + (1 - mix) * _DAY), np.float32)


def faded(scene: Image) -> Image:
    """The scene (h, w, 3), smooth towards its edges, beyond which its last px go on for ever."""
    soft = cv2.GaussianBlur(
        cv2.resize(scene, None, fx=0.1, fy=0.1, interpolation=cv2.INTER_AREA), (0, 0), 6
    )
    high, wide = scene.shape[:2]
    soft = cv2.resize(soft, (wide, high))
    sides = [
        np.minimum(np.arange(size), np.arange(size)[::-1]) / (0.05 * size) for size in (high, wide)
    ]
    share = np.clip(np.minimum(sides[0][:, None], sides[1]), 0, 1)[..., None]
    return np.asarray(share * scene + (1 - share) * soft, np.float32)


def add_lights(
    scene: Image, wall: tuple[int, int, int, int], room: Room, rng: np.random.Generator
) -> None:
    """Draw lamps and windows into the surroundings (h, w, 3) in cd/m², in place.

    wall: left, top, right, bottom of the wall, which covers them.
    """
    high, wide = scene.shape[:2]
    left, top, right, bottom = wall
    kept = scene[top:bottom, left:right].copy()
    for _ in range(room.windows):
        w, h = int(0.7 * left) + 2, int(0.5 * (bottom - top)) + 2
        x = int(
            rng.choice(
                [rng.integers(0, max(left - w, 1)), rng.integers(right, max(wide - w, right + 1))]
            )
        )
        y = int(rng.integers(0, max(bottom - h, 1)))
        sky = _DAY * np.float32(rng.uniform(200, 4000))
        scene[y : y + h, x : x + w] = sky
        bar = max(w // 20, 1)
        scene[y : y + h, x + w // 2 : x + w // 2 + bar] = 20
        scene[y + h // 2 : y + h // 2 + bar, x : x + w] = 20
    for _ in range(room.lamps):
        side = rng.integers(3)
        x = int(
            (rng.uniform(0.1, 0.9) * left, rng.uniform(right + 1, wide), rng.uniform(0, wide))[side]
        )
        y = int(rng.uniform(0.05, 0.9) * (top if side == 2 else bottom))
        radius = max(int(0.02 * high), 2)
        lamp = np.zeros((high, wide), np.float32)
        cv2.circle(lamp, (x, y), radius, 1.0, -1, cv2.LINE_AA)
        glow = cv2.resize(
            lamp, (max(wide // 8, 4), max(high // 8, 4)), interpolation=cv2.INTER_AREA
        )
        glow = cv2.GaussianBlur(glow, (0, 0), max(radius * 6 / 8, 1))
        glow = cv2.resize(glow, (wide, high))
        light = lamp * rng.uniform(2000, 15000) + glow * room.lux * 8
        scene += light[..., None] * _WARM
    scene[top:bottom, left:right] = kept


def reflections(shape: tuple[int, int], room: Room, rng: np.random.Generator) -> Image:
    """Luminance (h, w, 3) of what a glossy front mirrors: lamps and windows of the room behind."""
    high, wide = shape
    seen = np.zeros((high, wide, 3), np.float32)
    for _ in range(int(rng.integers(1, 4))):
        centre = (int(rng.uniform(0, wide)), int(rng.uniform(0, high)))
        size = (
            max(int(rng.uniform(0.02, 0.1) * wide), 1),
            max(int(rng.uniform(0.02, 0.1) * high), 1),
        )
        tint = _WARM if rng.random() < 0.5 else _DAY
        one = np.zeros(shape, np.float32)
        cv2.ellipse(one, centre, size, float(rng.uniform(0, 90)), 0, 360, 1.0, -1, cv2.LINE_AA)
        seen += one[..., None] * tint * np.float32(rng.uniform(300, 3000))
    dim = np.float32(room.lux * 0.4 / math.pi)
    return np.asarray(cv2.GaussianBlur(seen, (0, 0), 2) + dim, np.float32)


def ripple(begin_s: NDArray[np.float64], open_s: float, room: Room) -> NDArray[np.float32]:
    """Light of the lamps over their mean while the shutter is open from begin_s (…) on.

    The ripple is at twice the mains' frequency; its mean over the time that the shutter is open is
    that of a sine in closed form.
    """
    hertz = 2 * room.mains_hz
    depth = room.flicker * np.sinc(hertz * open_s)
    return (1 + depth * np.cos(2 * np.pi * hertz * (begin_s + open_s / 2))).astype(np.float32)


def blinker(wall: tuple[int, int, int, int], rng: np.random.Generator) -> tuple[int, int, Image]:
    """A lamp left of the wall (left, top, right, bottom px) that blinks: its corner, its light."""
    left, top, _, bottom = wall
    size = max((bottom - top) // 30, 2)
    one = cv2.getGaussianKernel(4 * size, size / 1.5)
    spot = (one @ one.T) / one.max() ** 2 * rng.uniform(100, 3000)
    place = (
        int(rng.uniform(0.3, 0.8) * left),
        int(rng.uniform(top, max(bottom - 4 * size, top + 1))),
    )
    return *place, np.asarray(spot[..., None] * rng.random(3), np.float32)


class Passers:
    """People who cross the picture before the wall: dark shapes with soft edges."""

    def __init__(self, room: Room, seconds: float, rng: np.random.Generator) -> None:
        self._start_s = rng.uniform(0, seconds, room.passers)
        self._takes_s = rng.uniform(1.2, 3.0, room.passers)
        self._leftwards = rng.random(room.passers) < 0.5
        self._light = np.float32(0.25 * room.lux / math.pi) * rng.uniform(
            0.2, 1.5, (room.passers, 3)
        ).astype(np.float32)
        self._tall = rng.uniform(0.5, 0.9, room.passers)

    def at(self, time_s: float, shape: tuple[int, int]) -> Iterator[tuple[Image, Image]]:
        """Who is there at a time: where they hide the wall, (h, w) 0 to 1, and their light (3,)."""
        high, wide = shape
        for start, takes, left, light, tall in zip(
            self._start_s, self._takes_s, self._leftwards, self._light, self._tall, strict=True
        ):
            share = (time_s - start) / takes
            if not 0 <= share <= 1:
                continue
            x = (1.3 * (1 - share if left else share) - 0.15) * wide
            head, top = 0.07 * high, high * (1 - tall)
            mask = np.zeros(shape, np.float32)
            for cx, cy, rx, ry in (
                (x, top + head, 0.75 * head, head),
                (x, top + 5.2 * head, 2 * head, 3.4 * head),
                (x, high, 1.5 * head, max(high - top - 4 * head, head)),
            ):
                place, size = (int(cx), int(cy)), (int(rx) + 1, int(ry) + 1)
                cv2.ellipse(mask, place, size, 0, 0, 360, 1.0, -1)
            yield cv2.GaussianBlur(mask, (0, 0), 1.5), light
