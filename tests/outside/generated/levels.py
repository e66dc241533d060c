"""Wrong colours and levels: functions whose map is right, whose light is not."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from tests.outside.generated.cases import Case, ToWire
from tests.outside.generated.run import Report
from tests.outside.generated.walls import WALLS, Array, Wall
from tests.outside.generated.words import Said, both, either, expand, has, number, share

SEED = 20
NAMES = ("red", "green", "blue")
Hook = Callable[[Array], Array]


def coded(
    wall: Wall,
    codes: Hook | None = None,
    light: Hook | None = None,
    drive: Hook | None = None,
    raw: Hook | None = None,
    intensity: int = 31,
) -> ToWire:
    """Right code, but for a change of the codes, the light, the drives or the bytes of the LEDs."""

    def to_wire(picture: Array) -> bytes:
        values = wall.gather(picture).astype(int)
        values = codes(values) if codes else values
        wanted = raw(values) if raw else wall.light(values)
        wanted = light(wanted) if light else wanted
        drives = np.rint(np.clip(wanted, 0, 1) * 255).astype(int)
        drives = drive(drives) if drive else drives
        return b"".join(wall.frames(drives, intensity))

    return to_wire


def read(wall: Wall, data: Any) -> Array:
    """The drives (N, 4) in the order red, green, blue, white of bytes on the wire."""
    width = len(wall.order) + (wall.part == "APA102")
    flat = np.frombuffer(bytes(data), np.uint8)
    parts, at = [], 0
    for n in np.diff(wall.bounds):
        if wall.part == "APA102":
            body = flat[at + 4 : at + 4 + 4 * n].reshape(-1, 4)
            parts.append(body[:, 1:] * ((body[:, :1] & 31) / 31))
            at += 4 + 4 * n + 4 + n // 16
        else:
            parts.append(flat[at : at + width * n].reshape(-1, width).astype(float))
            at += width * n
    wire = np.concatenate(parts)
    out = np.zeros((wall.leds, 4))
    out[:, ["RGBW".index(letter) for letter in wall.order]] = wire
    return out


def ramp(case: Case) -> Array:
    """Drives (256, 4, N, 4) of pure red, green, blue and grey at every level."""
    to_wire = case.build()
    wall = case.wall
    out = np.zeros((256, 4, wall.leds, 4))
    for level in range(256):
        for k, colour in enumerate(((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1))):
            picture = np.zeros((wall.rows, wall.columns, 3), np.uint8)
            picture[:] = np.array(colour) * level
            out[level, k] = read(wall, to_wire(picture))
    return out


TOPICS = {
    "time": r"the picture before|pictures? late|frames? late|not repeatable|exchanged|shines through",
    "map": r"own cell|mirrored|run backwards|serpentine",
    "leak": r"leak",
    "w": r"\bW (lights|shows|is)|white die",
    "bits": r"\d bits? (are|is) left",
    "twice": r"twice",
    "order": r"swapped|red shows as (green|blue)|green shows as (red|blue)|blue shows as (red|gre)",
}


def lies(allowed: frozenset[str], channels: frozenset[str]) -> Callable[[Case, Report], list[str]]:
    """False statements about colours: topics that are not true, right channels, right levels."""

    def found(case: Case, report: Report) -> list[str]:
        out = []
        drives = None
        for f in report.findings:
            text = f"{f['what']} | {f['evidence']}"
            if f["check"] == "map" and "map" not in allowed and f["severity"] != "remark":
                out.append(f"the map is right | {text}")
                continue
            for topic, pattern in TOPICS.items():
                if topic not in allowed and re.search(pattern, f["what"], re.IGNORECASE):
                    out.append(f"no {topic} here | {text}")
            for one in re.findall(
                r"((?:(?:red|green|blue|W)(?:, | and |/)?)+) (?:shows?|is|are|reach|never)",
                f["what"],
            ):
                named = set(re.findall(r"red|green|blue|W", one))
                if not named & channels:
                    out.append(f"{sorted(named)} right, {sorted(channels)} wrong | {text}")
            if not re.search(r"levels? \d|full white|black shows", text, re.IGNORECASE):
                continue
            drives = ramp(case) if drives is None else drives
            out += false_levels(case, drives, f["what"], text)
        return out

    return found


def false_levels(case: Case, drives: Array, what: str, text: str) -> list[str]:
    """Ranges of levels that are right, and figures for white and black that are not so."""
    wall, out = case.wall, []
    want = np.zeros((256, 4, 3))
    for k, colour in enumerate(((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1))):
        want[:, k] = wall.light(np.arange(256)[:, None] * np.array(colour)) * 255
    seen = drives[..., :3] + drives[..., 3:]
    off = np.abs(seen - want[:, :, None]) > 1.01  # more than a step of the drive
    wrong = off.any(axis=(1, 3))  # level, LED
    for match in re.finditer(r"\blevels ((?:\d+(?: ?(?:to|–|-|…|,|and) ?)?)+)", what):
        levels = [n for n in expand(match[1]) if n < 256]
        if levels and wrong[levels].any(axis=1).mean() < 0.5:
            out.append(f"levels {match[1]} are right | {text}")
    for match in re.finditer(r"full white[^.;|]{0,30}? (\d+(?:\.\d+)?) ?%", text, re.IGNORECASE):
        white = seen[255, 3].reshape(wall.leds, 3) / 255
        if not (white.min() - 0.03 <= float(match[1]) / 100 <= white.max() + 0.03):
            out.append(f"full white is {white.min():.0%} to {white.max():.0%} | {text}")
    for match in re.finditer(r"black shows drive (\d+)", text, re.IGNORECASE):
        black = seen[0, 3]
        if not (black.min() - 1 <= float(match[1]) <= black.max() + 1):
            out.append(f"black is drive {black.min():.0f} to {black.max():.0f} | {text}")
    return out


class Making:
    """Collects the cases, with its own random numbers."""

    def __init__(self) -> None:
        self.random = np.random.default_rng(SEED)
        self.cases: list[Case] = []

    def add(
        self,
        kind: str,
        wall: Wall,
        truth: str,
        *named: Said,
        topics: str = "",
        channels: str = "red green blue W",
        wrong: Array | None = None,
        remark: bool = False,
        intensity: int = 31,
        **hooks: Hook,
    ) -> None:
        allowed = frozenset(topics.split())
        self.cases.append(
            Case(
                kind, wall, truth, lambda: coded(wall, intensity=intensity, **hooks), named,
                wrong=wrong, remark=remark, lies=lies(allowed, frozenset(channels.split())),
            )
        )  # fmt: skip


def table(change: Callable[[Array], Any]) -> Hook:
    """A hook that looks codes up in a table of 256 entries."""
    entries = np.clip(np.asarray(change(np.arange(256))), 0, 255).astype(int)
    return lambda codes: entries[codes]


def one_channel(k: int, hook: Hook) -> Hook:
    def changed(values: Array) -> Array:
        values = values.copy()
        values[:, k] = hook(values[:, k])
        return values

    return changed


def some_leds(leds: Array, hook: Hook) -> Hook:
    def changed(values: Array) -> Array:
        values = values.copy()
        values[leds] = hook(values[leds])
        return values

    return changed


def led(wall: Wall, k: int) -> Said:
    """Names one LED, by its number over all lines or on its line."""
    line, place = wall.names(k)
    plain = has(rf"\bLEDs? (\d+,? (and )?)*{k}\b")
    return either(plain, both(has(rf"\bLEDs? (\d+,? (and )?)*{place}\b"), has(rf"line {line}\b")))


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    make = Making()
    for step in (gains, mixing, white_die, ranges, curves, blacks, places, orders, tables):
        step(make)
    return tuple(make.cases)


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
        "hues turned", WALLS["clocked"], "20 % of green is in red, of blue in green, of red in blue",
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
            codes=lambda c, t=np.array(tint): np.rint(c * t).astype(int),
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


def ranges(make: Making) -> None:
    for n, (a, b) in enumerate(((1, 14), (60, 90), (200, 210))):
        make.add(
            "levels full", WALLS[("square", "clocked", "small")[n]],
            f"levels {a} to {b} show full light",
            both(has(rf"levels? {a} (to|–|-|…) {b}\b"), has("full|100 ?%")),
            codes=table(lambda c, a=a, b=b: np.where((a <= c) & (c <= b), 255, c)),
        )  # fmt: skip
    for n, top in enumerate((80, 30, 140)):
        make.add(
            "levels below are dark", WALLS[("square", "rgbw", "two")[n]],
            f"levels below {top} are dark",
            both(either(has(rf"below {top}\b"), has(rf"levels? [01] (to|–|-|…) {top - 1}\b")),
                 has("dark|black|nothing|off")),
            codes=table(lambda c, t=top: np.where(c < t, 0, c)),
        )  # fmt: skip
    for n, (a, b) in enumerate(((97, 104), (230, 239), (100, 180))):
        make.add(
            "levels dark", WALLS[("square", "plain", "large")[n]], f"levels {a} to {b} are dark",
            both(has(rf"levels? {a} (to|–|-|…) {b}\b"), has("dark|black|nothing|off")),
            codes=table(lambda c, a=a, b=b: np.where((a <= c) & (c <= b), 0, c)),
        )  # fmt: skip
    for n, least in enumerate((24, 8, 60)):
        wall = WALLS[("square", "clocked", "small")[n]]
        level = int(np.argmax(wall.drives(np.arange(256)[:, None])[:, 0] >= least))
        make.add(
            "drives cut", wall, f"drives below {least} are 0: levels below {level} are dark",
            both(has("dark|black|nothing|off|cut|0"),
                 either(has(rf"drives? below {least}\b"), number(level, 1), number(level - 1, 0))),
            drive=lambda d, n=least: np.where(d < n, 0, d),
        )  # fmt: skip
    for n, top in enumerate((200, 120)):
        make.add(
            "full from a level on", WALLS[("plain", "square")[n]], f"levels from {top} on are full",
            both(number(top, 1), has("full|100 ?%|clip")),
            codes=table(lambda c, t=top: np.where(c >= t, 255, c)),
        )  # fmt: skip
    make.add(
        "stuck level", WALLS["two"], "levels 120 to 160 all show as level 120",
        both(either(number(120), number(121)), number(160), has("level")),
        codes=table(lambda c: np.where((c >= 120) & (c <= 160), 120, c)),
    )  # fmt: skip
    make.add(
        "one level dark", WALLS["small"], "level 128 is dark",
        both(has(r"levels? 128\b"), has("dark|black|nothing|off")),
        codes=table(lambda c: np.where(c == 128, 0, c)),
    )  # fmt: skip
    k = int(make.random.integers(3))
    make.add(
        "levels dark in one channel", WALLS["square"], f"levels 40 to 70 of {NAMES[k]} are dark",
        both(has(r"levels? 40 (to|–|-|…) 70\b"), has(NAMES[k])), channels=NAMES[k],
        codes=one_channel(k, table(lambda c: np.where((c >= 40) & (c <= 70), 0, c))),
    )  # fmt: skip


def curves(make: Making) -> None:
    for name in ("square", "clocked"):
        wall = WALLS[name]
        make.add(
            "curve twice", wall, "levels go through the curve twice",
            has("twice|two times|again"), topics="twice",
            light=lambda v, w=wall: w.light(v * 255),
        )  # fmt: skip
    for name in ("plain", "rgbw"):
        make.add(
            "no curve", WALLS[name], "codes go to the wire as they are",
            has(r"no curve|without (a |the )?curve|curve = 1\b|curve = 1\.0|exponent 1\b|linear|"
                r"exponent (1\.0|0\.9)|not go through"),
            raw=lambda c: c / 255,
        )  # fmt: skip
    for n, gamma in enumerate((1.8, 2.8, 2.5, 3.2)):
        make.add(
            "another exponent", WALLS[("square", "small", "foyer", "clocked")[n]],
            f"the curve is exponent {gamma}", either(*(number(gamma + d, 0.08) for d in (0, 0.02))),
            raw=lambda c, g=gamma: (c / 255) ** g,
        )  # fmt: skip
    make.add(
        "exponent 2.2 for sRGB", WALLS["square"], "the curve is exponent 2.2, not sRGB",
        number(2.2, 0.08), remark=True, raw=lambda c: (c / 255) ** 2.2,
    )  # fmt: skip
    make.add(
        "sRGB for exponent 2.2", WALLS["declared"], "sRGB; exponent 2.2 is declared",
        has("sRGB"), remark=True,
        raw=lambda c: WALLS["small"].light(c) * np.array([1, 0.8, 0.6]) * 0.5,
    )  # fmt: skip
    make.add(
        "nothing of what is declared", WALLS["declared"],
        "sRGB, all gains 1, full brightness; 2.2, (1, 0.8, 0.6) and 0.5 are declared",
        has(r"white|brightness|200 ?%"), raw=lambda c: WALLS["small"].light(c),
    )  # fmt: skip
    for n, bits in enumerate((3, 2, 4, 5, 1)):
        step = 256 >> bits
        top = 256 - step
        make.add(
            "few bits", WALLS[("square", "small", "clocked", "plain", "two")[n]],
            f"{bits} bits are left of 8", has(rf"\b{bits} bits?\b|\b{2**bits} (levels|steps)"),
            topics="bits", codes=table(lambda c, s=step, t=top: (c // s * s) * 255 / t),
        )  # fmt: skip
    for n, bits in enumerate((5, 4)):
        make.add(
            "few bits of the drive", WALLS[("square", "clocked")[n]],
            f"drives keep their upper {bits} bits", has(rf"\b{bits} bits?\b|\b{2**bits} (lev|st|dr)"),
            topics="bits", drive=lambda d, m=256 - (256 >> bits): d & m,
        )  # fmt: skip
    make.add(
        "inverted", WALLS["small"], "levels are inverted: 255 less the code",
        has("invert|negative|reverse|upside|backward"), codes=lambda c: 255 - c,
    )  # fmt: skip
    make.add(
        "S-curve", WALLS["square"], "codes go through 3v² - 2v³ before the curve",
        has("curve|level|contrast|mid"),
        codes=table(lambda c: np.rint(255 * (3 * (c / 255) ** 2 - 2 * (c / 255) ** 3))),
    )  # fmt: skip
    k = int(make.random.integers(3))
    make.add(
        "curve missing in one channel", WALLS["rgbw"], f"{NAMES[k]} goes without the curve",
        both(has(NAMES[k]), has(r"curve|exponent|linear|level")), channels=NAMES[k],
        light=one_channel(k, lambda v: (np.where(v <= 0.0031308, v * 12.92,
                                                 1.055 * np.maximum(v, 0.0031308) ** (1 / 2.4)
                                                 - 0.055))),
    )  # fmt: skip


def blacks(make: Making) -> None:
    for n, least in enumerate((3, 8, 20)):
        make.add(
            "black lifted", WALLS[("square", "clocked", "small")[n]],
            f"black shows drive {least}, {least / 255:.1%}",
            both(has("black"), number(least)), drive=lambda d, n=least: np.maximum(d, n),
        )  # fmt: skip
    for n, least in enumerate((5, 12)):
        make.add(
            "black added", WALLS[("rgbw", "plain")[n]],
            f"{least} is added to every drive: black shows {least}, white is clipped",
            both(has("black"), number(least)), drive=lambda d, n=least: np.minimum(d + n, 255),
        )  # fmt: skip
    make.add(
        "black tinted", WALLS["two"], "black shows red at drive 10",
        both(has("black"), has("red"), number(10)), channels="red",
        drive=one_channel(0, lambda d: np.maximum(d, 10)),
    )  # fmt: skip
    make.add(
        "video range", WALLS["square"],
        "codes are squeezed into 16 to 235: black shows drive 1, white 83 %",
        either(share(0.83), number(235)), codes=table(lambda c: np.rint(16 + c * 219 / 255)),
    )  # fmt: skip
    make.add(
        "video range expanded", WALLS["clocked"], "levels up to 16 are dark, from 235 on full",
        either(number(235, 1), number(16, 1)),
        codes=table(lambda c: np.rint(np.clip((c - 16) * 255 / 219, 0, 255))),
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
            wrong=leds_mask(wall, leds), channels="red green", topics="order",
            drive=some_leds(leds, lambda d: d[:, [1, 0, 2]]),
        )  # fmt: skip


def leds_mask(wall: Wall, leds: Array) -> Array:
    return np.isin(np.arange(wall.leds), leds)


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
            both(has(NAMES[k]), has("never|dead|dark|nothing|black|0 ?%|missing|not lit|not at all")),
            channels=NAMES[k], drive=one_channel(k, lambda d: d * 0),
        )  # fmt: skip
    make.add(
        "white die in the wrong place", WALLS["rgbw"], "bytes are sent as RGBW, the chip takes GRBW",
        both(has("red"), has("green")), channels="red green", topics="order",
        drive=lambda d: d[:, [1, 0, 2]],
    )  # fmt: skip


def tables(make: Making) -> None:
    make.add(
        "overflow of codes", WALLS["square"], "codes plus 40 wrap at 256: from 216 on they are 0 …",
        has("21[4-7]|wrap|overflow|black|fall"), codes=lambda c: (c + 40) & 255,
    )  # fmt: skip
    make.add(
        "overflow of drives", WALLS["small"], "drives are doubled and wrap at 256 (level 188)",
        has("18[6-9]|wrap|overflow|fall|curve|level"), drive=lambda d: (d * 2) & 255,
    )  # fmt: skip
    make.add(
        "white wraps to black", WALLS["plain"], "a table is off by one: level 255 is dark",
        both(has(r"255\b|white|full"), has("dark|black|nothing|off|0 ?%")),
        codes=lambda c: (c + 1) & 255,
    )  # fmt: skip
    make.add(
        "signed bytes", WALLS["clocked"], "levels 128 to 255 are dark",
        both(number(128, 1), has("dark|black|nothing|off")), codes=table(lambda c: c * (c < 128)),
    )  # fmt: skip
    make.add(
        "bits reversed", WALLS["square"], "the bits of each drive are sent in reverse order",
        has("bit|order|level|curve"), topics="bits",
        drive=lambda d: np.packbits(
            np.unpackbits(d.astype(np.uint8)[..., None], axis=-1)[..., ::-1], axis=-1
        )[..., 0],
    )  # fmt: skip
    make.add(
        "halves of the byte swapped", WALLS["two"], "upper and lower four bits of drives are swapped",
        has("bit|order|level|curve"), topics="bits", drive=lambda d: (d >> 4) | ((d & 15) << 4),
    )  # fmt: skip
    make.add(
        "two ranges exchanged", WALLS["small"], "levels 60 to 99 and 160 to 199 are exchanged",
        has(r"\b(60|99|160|199)\b"),
        codes=table(lambda c: np.where((c >= 60) & (c < 100), c + 100,
                                       np.where((c >= 160) & (c < 200), c - 100, c))),
    )  # fmt: skip
    make.add(
        "few bits in one channel", WALLS["clocked"], "blue has 3 bits left",
        both(has("blue"), has(r"\b3 bits|\b8 (levels|steps)")), channels="blue", topics="bits",
        codes=one_channel(2, table(lambda c: (c // 32 * 32) * 255 / 224)),
    )  # fmt: skip
