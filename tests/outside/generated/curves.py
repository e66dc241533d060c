"""Wrong levels: ranges, curves, black, tables."""

from __future__ import annotations

import numpy as np

from tests.outside.generated.changes import (
    NAMES,
    Making,
    one_channel,
    table,
)
from tests.outside.generated.walls import WALLS
from tests.outside.generated.words import both, either, has, number, share


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
            f"drives keep their upper {bits} bits",
            has(rf"\b{bits} bits?\b|\b{2**bits} (lev|st|dr)"),
            topics="bits", drive=lambda d, m=256 - (256 >> bits): d & m,
        )  # fmt: skip
    make.add(
        "inverted", WALLS["small"], "levels are inverted: 255 less the code",
        has("invert|negative|reverse"),
        topics="map", codes=lambda c: 255 - c,
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
        "halves of the byte swapped", WALLS["two"],
        "upper and lower four bits of drives are swapped",
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
