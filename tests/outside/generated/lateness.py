"""Late, black, exchanged and blended frames."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.outside.generated.player import BEFORE, NOISE, Player, at, every, patched
from tests.outside.generated.walls import WALLS, Array, Wall
from tests.outside.generated.words import both, either, has, share


def late(add: Any, walls: list[Wall], random: np.random.Generator) -> None:
    words = {1: r"before|one|\b1\b", 2: r"two|\b2\b", 3: r"three|\b3\b", 5: r"five|\b5\b"}
    for k, wall in zip((1, 2, 3, 1, 5, 1), walls, strict=True):
        add(
            "all late", wall, f"every frame shows the picture {k} before",
            lambda p, c, k=k: p.wall.drives(p.before(k)), both(BEFORE, has(words[k])),
        )  # fmt: skip
    for n in range(8):
        wall, k = walls[n % 6], 1 + n % 3 % 2
        a = int(random.integers(0, wall.leds // 2))
        b = a + int(random.integers(4, wall.leds // 3))
        leds = np.arange(a, min(b, wall.leds - 1) + 1)
        add(
            "range late", wall, f"LEDs {a} to {leds[-1]} show the picture {k} before",
            lambda p, c, s=leds, k=k: patched(p.wall.drives(c), s, p.wall.drives(p.before(k))),
            both(BEFORE, has(words[k]), at(wall, a), at(wall, int(leds[-1]))),
            wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    for n, wall in enumerate(walls[:4]):
        half = np.arange(wall.leds // 2) + (wall.leds // 2) * (n % 2)
        add(
            "half late", wall, f"LEDs {half[0]} to {half[-1]} show the picture before",
            lambda p, c, s=half: patched(p.wall.drives(c), s, p.wall.drives(p.before(1))),
            both(BEFORE, either(both(at(wall, int(half[0])), at(wall, int(half[-1]))),
                                has(rf"line {n % 2}\b"))),
            wrong=np.isin(np.arange(wall.leds), half),
        )  # fmt: skip
    for n, name in enumerate(("two", "foyer", "large")):
        wall, k = WALLS[name], 1 + n % 2
        leds = np.arange(wall.bounds[1], wall.bounds[2])
        add(
            "line late", wall,
            f"line 1 (LEDs {leds[0]} to {leds[-1]}) shows the picture {k} before",
            lambda p, c, s=leds, k=k: patched(p.wall.drives(c), s, p.wall.drives(p.before(k))),
            both(BEFORE, has(words[k]), either(has(r"line 1\b"), has(rf"LEDs? {leds[0]}\b"))),
            wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    for wall in walls[:2]:
        add(
            "late now and then", wall, "every other frame is the picture before",
            lambda p, c: p.wall.drives(p.before(1) if p.calls % 2 else c),
            either(BEFORE, has("every (second|other) (picture|frame)")),
        )  # fmt: skip
    wall = walls[0]
    add(
        "interlaced", wall,
        "each frame writes every other LED, in turn; the rest show the frame before",
        lambda p, c: patched(p.wall.drives(c), np.arange(p.calls % 2, wall.leds, 2),
                           p.wall.drives(p.before(1))),
        either(BEFORE, has("every (second|other) (picture|frame)")),
    )  # fmt: skip


def black_and_frozen(add: Any, walls: list[Wall]) -> None:
    for n, wall in zip((3, 5, 10, 7, 4, 2), walls, strict=True):
        add(
            "every n-th black", wall, f"every {n}th frame is black",
            lambda p, c, n=n: p.wall.drives(c) * ((p.calls + 1) % n > 0),
            both(every(n), has("black|dark|nothing|empty")),
        )  # fmt: skip
    for n, wall in zip((4, 10, 3), walls, strict=False):
        add(
            "every n-th frozen", wall, f"every {n}th frame is the picture before",
            lambda p, c, n=n: p.wall.drives(c if (p.calls + 1) % n else p.before(1)),
            both(every(n), has(r"before|frozen|repeat|late|again|previous")),
        )  # fmt: skip
    for wall in (WALLS["two"], WALLS["square"]):
        leds = np.arange(wall.leds // 2, wall.leds)
        add(
            "half black now and then", wall, f"LEDs from {leds[0]} on are black in every 4th frame",
            lambda p, c, s=leds: patched(p.wall.drives(c), s,
                                       p.wall.drives(c) * ((p.calls + 1) % 4 > 0)),
            both(every(4), has("black|dark|nothing|empty")),
            wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    for n, wall in zip((3, 2), walls[2:4], strict=True):
        add(
            "every n-th dim", wall, f"every {n}th frame shows half the light",
            lambda p, c, n=n: p.wall.drives(c) * (1.0 if (p.calls + 1) % n else 0.5),
            either(NOISE, both(every(n), has(r"half|50 ?%|dim|bright|light"))),
        )  # fmt: skip
    add(
        "every n-th white", walls[4], "every 5th frame is white",
        lambda p, c: p.wall.drives(c if (p.calls + 1) % 5 else c * 0 + 255),
        both(every(5), has("white|full|always shows the same")),
    )  # fmt: skip


def exchanged_and_blended(add: Any, walls: list[Wall]) -> None:
    for a, wall in zip((7, 3, 5), walls, strict=False):

        def swap(p: Player, c: Array, a: int = a) -> Array:
            place = p.calls % 10 + 1
            return p.wall.drives(p.before(1) if place in (a, a + 1) else c)

        add(
            "two of ten held", wall,
            f"of every ten frames, {a} and {a + 1} show the picture before",
            swap, both(every(10), has("before|exchang|late|previous")),
        )  # fmt: skip
    for a, wall in zip((7, 4), walls[1:], strict=False):

        def late_swap(p: Player, c: Array, a: int = a) -> Array:
            place = p.calls % 10 + 1
            return p.wall.drives(c if place == a else p.before(2 if place == a + 1 else 1))

        add(
            "one late, two of ten exchanged", wall,
            f"all are one late, of every ten frames {a} and {a + 1} are exchanged",
            late_swap, has("before|exchang|late|previous"),
        )  # fmt: skip
    for part, wall in zip((0.3, 0.5, 0.15), (walls[0], walls[2], walls[1]), strict=True):
        add(
            "blended", wall, f"{part:.0%} of the light of the picture before shines through",
            lambda p, c, s=part: 255 * (s * p.wall.light(p.before(1)) + (1 - s) * p.wall.light(c)),
            both(BEFORE, share(part, 0.03)),
        )  # fmt: skip
    for part, wall in zip((0.3, 0.6), (walls[3], walls[4]), strict=True):

        def smooth(p: Player, c: Array, s: float = part) -> Array:
            last = getattr(p, "last", np.zeros_like(c, float))
            p.last = s * last + (1 - s) * p.wall.light(c)  # type: ignore[attr-defined]
            return 255 * p.last  # type: ignore[attr-defined]

        add(
            "smoothed", wall, f"each frame keeps {part:.0%} of the frame before",
            smooth, both(BEFORE, share(part, 0.05)),
        )  # fmt: skip
    add(
        "blended in codes", walls[5], "30 % of the codes of the picture before are mixed in",
        lambda p, c: p.wall.drives(np.rint(0.3 * p.before(1) + 0.7 * c)),
        BEFORE,
    )  # fmt: skip
    add(
        "brighter wins", walls[0], "each LED shows the brighter of this picture and the one before",
        lambda p, c: p.wall.drives(np.maximum(p.before(1), c)), BEFORE,
    )  # fmt: skip
    add(
        "kept where little changes", walls[1],
        "a frame is sent again where fewer than a tenth of the LEDs change",
        _kept, has(r"before|frozen|again|late|previous|repeat"),
    )  # fmt: skip


def _kept(p: Player, codes: Array) -> Array:
    last = getattr(p, "kept", None)
    if last is None or np.mean((last != codes).any(axis=1)) >= 0.1:
        p.kept = codes  # type: ignore[attr-defined]
    return p.wall.drives(p.kept)  # type: ignore[attr-defined]
