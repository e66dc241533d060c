"""Wrong gains, mixtures and orders of the channels, for all LEDs or for some."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.outside.generated.changes import (
    NAMES,
    Hook,
    Making,
    led,
    mask,
    one_channel,
    some_leds,
    table,
)
from tests.outside.generated.walls import WALLS, Array
from tests.outside.generated.words import both, either, has, number, share


def gains(make: Making) -> None:
    walls = WALLS["square"], WALLS["small"], WALLS["clocked"], WALLS["rgbw"], WALLS["two"]
    for n, gain in enumerate((0.1, 0.5, 0.8, 0.3, 0.6)):
        k, wall = int(make.random.integers(3)), walls[n]
        make.add(
            "gain of one channel", wall, f"{NAMES[k]} shows at {gain:.0%} of its light",
            either(both(has(NAMES[k]), share(gain)), has(rf"white = .*\b{gain}\b")),
            channels=NAMES[k], topics="", light=one_channel(k, lambda v, g=gain: v * g),
        )  # fmt: skip
    for n, white in enumerate(((1, 0.8, 0.6), (0.5, 1, 0.25), (0.9, 0.7, 1))):
        wall = WALLS[("plain", "foyer", "clocked")[n]]
        light = np.array(white)
        make.add(
            "white balance", wall, f"gains of red, green, blue are {white}",
            either(*(share(w) for w in white if w < 1)),
            channels=" ".join(c for c, w in zip(NAMES, white, strict=True) if w < 1),
            light=lambda v, g=light: v * g,
        )  # fmt: skip
    for n, gain in enumerate((0.21, 0.5, 0.7)):
        wall = WALLS[("small", "large", "rgbw")[n]]
        make.add(
            "brightness", wall, f"everything shows at {gain:.0%} of its light",
            share(gain), light=lambda v, g=gain: v * g,
        )  # fmt: skip
    half = float(WALLS["small"].light(np.full(3, 128))[0])
    for name in ("square", "clocked"):
        make.add(
            "brightness by codes", WALLS[name], f"codes are halved, white shows at {half:.1%}",
            share(half), codes=lambda c: np.rint(c * 128 / 255).astype(int),
        )  # fmt: skip
    for intensity in (8, 20):
        make.add(
            "intensity of the head", WALLS["clocked"],
            f"five bits of intensity are {intensity} of 31: {intensity / 31:.0%}",
            either(share(intensity / 31), has(rf"intensity[^.]*\b{intensity}\b")),
            intensity=intensity,
        )  # fmt: skip
    for n, gain in enumerate((1.5, 2.0, 1.25)):
        wall = WALLS[("square", "plain", "two")[n]]
        top = int(np.argmax(wall.light(np.arange(256)[:, None])[:, 0] * gain >= 1))
        make.add(
            "gain clipped", wall, f"light times {gain}, clipped: full from level {top} on",
            either(share(gain, 0.06), number(top, 3)),
            light=lambda v, g=gain: np.minimum(v * g, 1),
        )  # fmt: skip
    make.add(
        "gain of codes clipped", WALLS["small"], "codes times 1.5, clipped: full from level 170 on",
        either(share(1.5, 0.06), number(170, 3)), codes=table(lambda c: c * 1.5),
    )  # fmt: skip


def mixing(make: Making) -> None:
    walls = WALLS["square"], WALLS["clocked"], WALLS["rgbw"], WALLS["small"]
    for n, leak in enumerate((0.2, 0.1, 0.05, 0.4)):
        matrix = np.full((3, 3), leak) + np.eye(3) * (1 - leak)
        make.add(
            "leak into the others", walls[n], f"{leak:.0%} of each channel leaks into the others",
            both(has("leak"), share(leak, 0.02)), topics="leak",
            light=lambda v, m=matrix: np.minimum(v @ m.T, 1),
        )  # fmt: skip
    for n, leak in enumerate((0.3, 0.15, 0.6)):
        a, b = (int(k) for k in make.random.permutation(3)[:2])
        matrix = np.eye(3)
        matrix[b, a] = leak
        make.add(
            "leak into one", WALLS[("plain", "two", "large")[n]],
            f"{leak:.0%} of {NAMES[a]} leaks into {NAMES[b]}",
            both(has(NAMES[a]), has(NAMES[b]), share(leak, 0.02)), topics="leak",
            channels=f"{NAMES[a]} {NAMES[b]}", light=lambda v, m=matrix: np.minimum(v @ m.T, 1),
        )  # fmt: skip
    for n, part in enumerate((0.3, 0.6)):
        matrix = np.eye(3) * (1 - part) + part / 3
        make.add(
            "less saturation", WALLS[("foyer", "small")[n]],
            f"{part / 3:.0%} of each channel is in the others, {1 - 2 * part / 3:.0%} its own",
            both(has("leak|mix|satur"),
                 either(share(part / 3, 0.02), share(part / 3 / (1 - 2 * part / 3), 0.02))),
            topics="leak", light=lambda v, m=matrix: v @ m.T,
        )  # fmt: skip
    matrix = np.array([[1.3, -0.2, -0.1], [-0.1, 1.3, -0.2], [-0.2, -0.1, 1.3]])
    make.add(
        "more saturation", WALLS["square"], "light is pushed away from grey by a matrix, clipped",
        has(r"satur|mix|leak|channels? (take|lower|dim)|less|clip|full from"), topics="leak",
        light=lambda v, m=matrix: np.clip(v @ m.T, 0, 1),
    )  # fmt: skip
    weights = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709, luminance
    make.add(
        "grey only", WALLS["two"], "all channels show the luminance",
        has(r"leak|grey|gray|mix|the same in|as white|alike"), topics="leak order",
        light=lambda v: np.repeat((v @ weights)[:, None], 3, 1),
    )  # fmt: skip
    angle = np.array([[0.8, 0.2, 0], [0, 0.8, 0.2], [0.2, 0, 0.8]])
    make.add(
        "hues turned", WALLS["clocked"],
        "20 % of green is in red, of blue in green, of red in blue",
        both(has("leak|mix"), either(share(0.2, 0.02), share(0.25, 0.02))), topics="leak",
        light=lambda v: v @ angle.T,
    )  # fmt: skip
    for n, tint in enumerate(((1, 0.9, 0.7), (0.8, 1, 0.8))):
        wall = WALLS[("small", "square")[n]]
        seen = [float(wall.light(np.full(3, 255 * t))[0]) for t in tint if t < 1]
        make.add(
            "tint by codes", wall, f"codes are multiplied by {tint}; light by {np.round(seen, 2)}",
            either(*(share(s, 0.04) for s in seen)),
            channels=" ".join(c for c, t in zip(NAMES, tint, strict=True) if t < 1),
            codes=lambda c, t=tint: np.rint(c * np.array(t)).astype(int),
        )  # fmt: skip


def white_die(make: Making) -> None:
    wall = WALLS["rgbw"]

    def with_white(white: Callable[[Array], Array]) -> Hook:
        return lambda d: np.hstack([d, np.clip(white(d), 0, 255).astype(int)[:, None]])

    for truth, white in (
        ("W is 255 wherever red is lit", lambda d: 255 * (d[:, 0] > 0)),
        ("W is the largest of red, green and blue", lambda d: d.max(axis=1)),
        ("W is the mean of red, green and blue", lambda d: d.mean(axis=1)),
        ("W follows blue", lambda d: d[:, 2]),
    ):
        make.add(
            "W lights with colours", wall, truth, has(r"\bW\b.*(pure|colour|red|blue|lights)"),
            topics="w leak", drive=with_white(white),
        )  # fmt: skip
    make.add(
        "W always lit", wall, "W is 40 always, in black too",
        either(has(r"black.*\b40\b"), has(r"\bW\b.*\b(always|black|40)\b")),
        topics="w leak", drive=with_white(lambda d: np.full(len(d), 40)),
    )  # fmt: skip


def places(make: Making) -> None:
    for name, gain in (("square", 0.6), ("two", 0.3), ("small", 0.8), ("large", 0.5)):
        wall = WALLS[name]
        k = int(make.random.integers(wall.leds))
        wrong = np.arange(wall.leds) == k
        line, place = wall.names(k)
        make.add(
            "gain of one LED", wall, f"LED {place} of line {line} ({k}) shows {gain:.0%}",
            both(led(wall, k), share(gain)), wrong=wrong,
            light=some_leds(np.array([k]), lambda v, g=gain: v * g),
        )  # fmt: skip
    for name in ("square", "foyer"):
        wall = WALLS[name]
        leds = np.sort(make.random.choice(wall.leds, 6, replace=False))
        gain = make.random.uniform(0.2, 0.8, (6, 1))
        make.add(
            "gains of some LEDs", wall, f"LEDs {leds} show {np.round(gain[:, 0], 2)}",
            both(has("LED"), either(*(share(g) for g in gain[:, 0]))),
            wrong=np.isin(np.arange(wall.leds), leds),
            light=some_leds(leds, lambda v, g=gain: v * g),
        )  # fmt: skip
    for name, axis in (("square", 1), ("clocked", 1), ("plain", 0), ("foyer", 1)):
        wall = WALLS[name]
        which = int(make.random.integers(wall.rows if axis else wall.columns))
        leds = np.flatnonzero(wall.cells[:, axis] == which)
        word = "row" if axis else "column"
        make.add(
            f"gain of a {word}", wall, f"{word} {which} (LEDs {leds}) shows 50 %",
            both(either(has(rf"{word}s? {which}\b"), has(rf"LEDs? {leds.min()}\b"),
                        has(rf"LEDs? {wall.names(int(leds.min()))[1]}\b"),
                        has(r"\bruns?\b")), share(0.5)),
            wrong=np.isin(np.arange(wall.leds), leds),
            light=some_leds(leds, lambda v: v * 0.5),
        )  # fmt: skip
    for name in ("two", "large"):
        wall = WALLS[name]
        leds = np.arange(wall.bounds[1], wall.bounds[2])
        make.add(
            "gain of a line", wall, "line 1 shows 40 %",
            both(either(has(r"line 1\b"), has(rf"LEDs? {leds[0]}\b")), share(0.4)),
            wrong=np.isin(np.arange(wall.leds), leds),
            light=some_leds(leds, lambda v: v * 0.4),
        )  # fmt: skip
    wall = WALLS["square"]
    fall = np.linspace(1, 0.5, wall.leds)[:, None]
    make.add(
        "light falls along the line", wall, "light falls from 100 % at LED 0 to 50 % at LED 575",
        both(has("LED|line|row|wall"), either(share(0.5, 0.06), share(0.75, 0.06))),
        wrong=fall[:, 0] < 0.99, light=lambda v: v * fall,
    )  # fmt: skip
    for name in ("plain", "clocked"):
        wall = WALLS[name]
        k, c = int(make.random.integers(wall.leds)), int(make.random.integers(3))
        make.add(
            "channel of one LED dead", wall, f"{NAMES[c]} of LED {k} is always 0",
            both(led(wall, k), has(NAMES[c])), wrong=np.arange(wall.leds) == k,
            channels=NAMES[c], topics="order map",
            drive=some_leds(np.array([k]), one_channel(c, lambda d: d * 0)),
        )  # fmt: skip
    for name in ("two", "square"):
        wall = WALLS[name]
        a = int(make.random.integers(20, wall.leds // 2))
        b = a + int(make.random.integers(8, 30))
        leds = np.arange(a, b + 1)
        make.add(
            "LEDs stuck", wall, f"LEDs {a} to {b} always show drive 90",
            either(has(rf"LEDs? {a} (to|–|-|…) {b}\b")), topics="map order leak",
            wrong=np.isin(np.arange(wall.leds), leds),
            drive=some_leds(leds, lambda d: d * 0 + 90),
        )  # fmt: skip
    for name in ("square", "small"):
        wall = WALLS[name]
        k = int(make.random.integers(3, wall.leds // 2))
        leds = np.arange(k, wall.leds)
        make.add(
            "channels swapped from an LED on", wall, f"red and green are swapped from LED {k} on",
            both(has("red"), has("green"), either(has(rf"LEDs? {k}\b"), has(rf"from LED {k}\b"))),
            wrong=mask(wall, leds), channels="red green", topics="order",
            drive=some_leds(leds, lambda d: d[:, [1, 0, 2]]),
        )  # fmt: skip


def orders(make: Making) -> None:
    for n, order in enumerate(((1, 0, 2), (0, 2, 1), (2, 1, 0), (1, 2, 0), (2, 0, 1))):
        wall = WALLS[("square", "clocked", "plain", "rgbw", "large")[n]]
        moved = [NAMES[k] for k in range(3) if order[k] != k]
        make.add(
            "order of channels", wall, f"red, green, blue show as {[NAMES[k] for k in order]}",
            both(*(has(m) for m in moved)), channels=" ".join(moved), topics="order",
            drive=lambda d, o=list(order): d[:, o],
        )  # fmt: skip
    for n, k in enumerate((0, 1, 2)):
        make.add(
            "channel dead", WALLS[("small", "two", "square")[n]], f"{NAMES[k]} is never lit",
            both(has(NAMES[k]), has("never|dead|dark|nothing|black|0 ?%|missing|not lit")),
            channels=NAMES[k], drive=one_channel(k, lambda d: d * 0),
        )  # fmt: skip
    make.add(
        "white die in the wrong place", WALLS["rgbw"],
        "bytes are sent as RGBW, the chip takes GRBW",
        both(has("red"), has("green")), channels="red green", topics="order",
        drive=lambda d: d[:, [1, 0, 2]],
    )  # fmt: skip
