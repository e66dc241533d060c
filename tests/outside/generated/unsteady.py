"""Random, drifting and alternating frames."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from tests.outside.generated.player import NOISE, Player, every, patched
from tests.outside.generated.walls import WALLS, Wall
from tests.outside.generated.words import either, has


def noisy(add: Any, walls: list[Wall], random: np.random.Generator) -> None:
    def noise(p: Player) -> np.random.Generator:
        if not hasattr(p, "random"):
            p.random = np.random.default_rng()  # type: ignore[attr-defined]
        return p.random  # type: ignore[attr-defined]

    for amount, wall in zip((20, 60), walls, strict=False):
        add(
            "random drives", wall, f"each drive is up to {amount} off, at random",
            lambda p, c, a=amount: np.clip(
                p.wall.drives(c) + noise(p).integers(-a, a + 1, c.shape), 0, 255),
            NOISE,
        )  # fmt: skip
    for wall in walls[2:4]:
        add(
            "random bytes", wall, "every drive is random",
            lambda p, c: noise(p).integers(0, 256, c.shape), NOISE,
        )  # fmt: skip
    for wall in walls[:2]:
        add(
            "random order", wall, "the LEDs are in another random order in each frame",
            lambda p, c: p.wall.drives(c)[noise(p).permutation(len(c))], NOISE,
        )  # fmt: skip
    for chance, wall in zip((0.1, 0.3), walls[3:], strict=False):
        add(
            "black at random", wall, f"a frame is black with a chance of {chance:.0%}",
            lambda p, c, q=chance: p.wall.drives(c) * (noise(p).random() > q),
            either(NOISE, has("black|dark")),
        )  # fmt: skip
    for wall in (walls[0], walls[5]):
        leds = random.choice(wall.leds, 5, replace=False)
        add(
            "some LEDs random", wall, f"LEDs {np.sort(leds)} show random drives",
            lambda p, c, s=leds: patched(p.wall.drives(c), s, noise(p).integers(0, 256, c.shape)),
            NOISE, wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    add(
        "spoilt at random", walls[1], "one LED, another in each frame, is white",
        lambda p, c: patched(p.wall.drives(c), noise(p).integers(0, len(c), 1), c * 0 + 255), NOISE,
    )  # fmt: skip


def drifting(add: Any, walls: list[Wall]) -> None:
    word = either(NOISE, has(r"first|begin|start|number of|drift|after|fade|dim"))
    for n, wall in zip((1, 3), walls, strict=False):
        add(
            "first frames black", wall, f"the first {n} frames are black",
            lambda p, c, n=n: p.wall.drives(c) * (p.calls >= n), word,
        )  # fmt: skip
    add(
        "fades in", walls[2], "light rises from 0 to full over the first 20 frames",
        lambda p, c: p.wall.drives(c) * min(p.calls / 20, 1), word,
    )  # fmt: skip
    add(
        "dims", walls[3], "each frame has 1 % less light than the one before",
        lambda p, c: p.wall.drives(c) * 0.99**p.calls, word,
    )  # fmt: skip
    for wall in (walls[0], walls[4]):
        add(
            "moves on", wall, "each frame is one LED further along the line than the one before",
            lambda p, c: np.roll(p.wall.drives(c), p.calls, axis=0), NOISE,
        )  # fmt: skip
    for wall in (walls[1], walls[2]):
        add(
            "channels in turn", wall, "red and green are exchanged in every other frame",
            lambda p, c: p.wall.drives(c)[:, [1, 0, 2] if p.calls % 2 else [0, 1, 2]],
            either(NOISE, every(2)),
        )  # fmt: skip
    add(
        "backwards in turn", walls[5], "every other frame has the LEDs in reverse order",
        lambda p, c: p.wall.drives(c)[:: -1 if p.calls % 2 else 1], either(NOISE, every(2)),
    )  # fmt: skip
    add(
        "by the clock", walls[4], "LED 3 blinks by the clock of the computer",
        lambda p, c: patched(p.wall.drives(c), np.array([3]),
                           c * 0 + 255 * (time.time_ns() // 997 % 2)),
        NOISE, wrong=np.arange(WALLS["small"].leds) == 3,
    )  # fmt: skip
