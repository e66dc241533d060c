"""Code that gets colours or levels wrong, and code that gets them right in other styles.

Each wrong function has the sentence that must name it, worked out by hand from what it does, and
other sentences that are true of it. Nothing here uses emulator.canvas.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from emulator.signal.framing import frame_bytes
from harness.mistakes.levels import LEVELS

NAMES = ("red", "green", "blue")


def srgb(value):
    """IEC 61966-2-1: linear light 0…1 of values 0…1."""
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def curve_of(display):
    """The curve that [canvas] of the display asks for, by hand."""
    curve = display.canvas.curve
    return srgb if curve == "sRGB" else lambda value: value**curve


def own_cells(picture, display):
    """(N, 3) float values 0…255 in the order of the data."""
    return picture.reshape(-1, 3)[display.wiring.cell].astype(float)


def full(display):
    return 255 * np.array(display.canvas.white) * display.canvas.brightness


def send(drives, display, channels=None):
    """Bytes of each line for drives (N, 3), floats 0…255; or for drives of all channels (N, C)."""
    whole = np.clip(np.round(drives), 0, 255).astype(np.uint8)
    kind = display.chip.channels
    if channels is None and kind == "RGBW":
        white = whole.min(axis=1, keepdims=True)
        whole = np.hstack([whole - white, white])
    elif channels is None and kind == "RGBI":
        whole = np.hstack([whole, np.full((len(whole), 1), 31, np.uint8)])
    whole = whole[:, [kind.index(c) for c in display.chip.order]]
    parts = np.split(whole, display.wiring.line_starts[1:])
    return [frame_bytes(part, display.chip) for part in parts]


@dataclass(frozen=True)
class Wrong:
    """values, light, drives: change the levels, the light as drives, or all channels.

    names: patterns that the findings must match; true: other patterns that they may match.
    """

    name: str
    names: tuple[str, ...]
    values: Callable | None = None
    light: Callable | None = None
    drives: Callable | None = None
    true: tuple[str, ...] = ()
    chips: tuple[str, ...] = ("RGB", "RGBW", "RGBI")
    severities: tuple[str, ...] = field(default=("fault", "warning"))
    least: int = 1  # LEDs a wall must have

    def to_wire(self, display):
        curve, white = curve_of(display), full(display)

        def run(picture):
            value = own_cells(picture, display)
            if self.values is not None:
                value = np.clip(self.values(value), 0, 255)
            drives = white * curve(value / 255)
            if self.light is not None:
                drives = self.light(np.round(drives))
            if self.drives is not None:
                kind = display.chip.channels
                return send(self.drives(np.clip(np.round(drives), 0, 255)), display, kind)
            return send(drives, display)

        return run

    def judge(self, findings):
        """(detected, named, sentences that are not true of it)."""
        told = [f.what for f in findings]
        detected = any(f.severity in self.severities for f in findings)
        named = all(any(re.search(name, what) for what in told) for name in self.names)
        told_true = (*self.names, *self.true)
        false = [w for w in told if not any(re.search(pattern, w) for pattern in told_true)]
        return detected, named, false


def share(low: float, high: float) -> str:
    """A pattern of the whole percentages from low to high."""
    return "(" + "|".join(str(n) for n in range(round(low), round(high) + 1)) + ")%"


def percent(part: float, off: float = 1) -> str:
    return share(max(100 * part - off, 0), 100 * part + off)


def levels_about(level: float, off: int = 2) -> str:
    return "(" + "|".join(str(n) for n in range(round(level) - off, round(level) + off + 1)) + ")"


def level_of(drive: float, display) -> float:
    """The level that means a drive."""
    levels = np.arange(256)
    return float(np.interp(drive, full(display)[0] * curve_of(display)(levels / 255), levels))


BRIGHT = r"full white (shows|is red)"  # true wherever full white is not what is asked for


def wrongs(display, rng: np.random.Generator) -> Iterator[Wrong]:
    """Every kind of wrong function for a display (its [canvas] at full), with random figures."""
    kind, wiring, leds = display.chip.channels, display.wiring, display.leds
    curve = curve_of(display)

    def shipped(name):
        """The mistake of this name that `foreglow mutate` uses."""
        return lambda values: LEVELS[name].apply(values, display.canvas.curve)

    def level_for(light):
        """The level that the right curve makes this light, 0…1."""
        fine = np.arange(4097) / 4096
        return 255 * np.interp(light, curve(fine), fine)

    def near(exponent):
        return "|".join(f"{exponent + off / 100:.2f}" for off in range(-4, 5))

    def others(c):
        return " and ".join(NAMES[n] for n in range(3) if n != c)

    def times(*gains):
        return lambda d: d * np.array(gains)

    # Gains of channels.
    for c in range(3):
        g = float(rng.uniform(0.3, 0.9))
        gains = [1.0, 1.0, 1.0]
        gains[c] = g
        yield Wrong(
            f"{NAMES[c]} at {g:.2f}",
            (rf"{NAMES[c]} shows at {percent(g)} of {others(c)}",),
            light=times(*gains),
        )
    yield Wrong(
        "green at a tenth", (r"green shows at 10% of red and blue",), light=times(1, 0.1, 1)
    )
    yield Wrong(
        "a warm white", (r"at 1\.00 0\.7[89] 0\.5[01] of full drive",), light=times(1, 0.785, 0.505)
    )
    yield Wrong("white at 21 %", (r"full white shows 21% of full light",), light=lambda d: 0.21 * d)
    g = float(rng.uniform(0.3, 0.8))
    yield Wrong(
        f"all at {g:.2f}",
        (rf"full white shows {percent(g)} of full light",),
        light=lambda d, g=g: g * d,
    )

    # Leaks.
    for p in (0.2, float(rng.uniform(0.04, 0.4))):
        yield Wrong(
            f"leak of {p:.2f}",
            (rf"{percent(p)} of each channel leaks into the others",),
            light=lambda d, p=p: np.minimum(d @ (np.eye(3) * (1 - p) + p), 255),
        )
        yield Wrong(
            f"desaturated by {p:.2f} before the curve",
            (rf"{percent(p, 2)} of each channel leaks into the others before the curve",),
            values=lambda v, p=p: np.minimum(v @ (np.eye(3) * (1 - p) + p), 255),
        )
    p = float(rng.uniform(0.1, 0.4))
    one = np.eye(3)
    one[0, 2] = p
    yield Wrong(
        f"red leaks {p:.2f} into blue",
        (rf"{percent(p)} of red leaks into blue",),
        light=lambda d: np.minimum(d @ one, 255),
    )
    grey = np.array([0.3, 0.59, 0.11])
    yield Wrong(
        "all grey",
        (r"colours are lost|shows? as white",),
        light=lambda d: (d @ grey)[:, None].repeat(3, 1),
        true=(BRIGHT, "shows? at"),
    )
    yield Wrong(
        "red and green swapped", (r"red and green swapped",), values=lambda v: v[:, [1, 0, 2]]
    )
    yield Wrong("rotated", (r"rotated",), values=lambda v: v[:, [1, 2, 0]])
    yield Wrong(
        "blue never", (r"blue never lights",), light=times(1, 1, 0), true=("blue shows at 0%",)
    )
    yield Wrong(
        "swapped and dim green",
        (r"red and green swapped", r"(shows? at) 4[01]%"),
        light=lambda d: d[:, [1, 0, 2]] * np.array([1, 0.4, 1]),
    )

    # Saturation and hue: the other channels lose what the own one gains, mean 0.
    s = float(rng.uniform(0.2, 0.6))
    yield Wrong(
        f"saturation {1 + s:.2f}",
        (rf"more saturated than meant: each channel takes {percent(s / 3)} of its light",),
        light=lambda d: d + s * (d - d.mean(1, keepdims=True)),
    )
    turn = np.roll(np.eye(3), 1, axis=0) * 0.2 + np.eye(3) * 0.8
    yield Wrong(
        "hue turned", (r"20% of \w+ leaks into \w+, 20% of \w+ leaks into \w+, 20% of",),
        light=lambda d: d @ turn,
    )  # fmt: skip

    # Mixtures.
    yield Wrong(
        "an LED limited to one channel",
        (r"together show at most 100% .* white shows 33%",),
        light=lambda d: d * np.minimum(1, 255 / np.maximum(d.sum(1, keepdims=True), 1)),
        chips=("RGB", "RGBI"),
        true=("dimmed",),
    )

    # W.
    w = ("RGBW",)
    yield Wrong(
        "W with pure red",
        (r"W lights with pure red",),
        chips=w,
        drives=lambda d: np.hstack(
            [d - d.min(1, keepdims=True), np.maximum(d.min(1), d[:, 0])[:, None]]
        ),
        true=("leaks into", "red shows as white"),
    )
    yield Wrong(
        "W is the greatest",
        (r"W lights with pure colours",),
        chips=w,
        drives=lambda d: np.hstack([d, d.max(1, keepdims=True)]),
        true=("shows as white", "leaks into"),
    )
    yield Wrong(
        "W is the mean",
        (r"W lights with pure colours: with red at 33%",),
        chips=w,
        drives=lambda d: np.hstack([d, d.mean(1, keepdims=True)]),
        true=("leaks into",),
    )
    yield Wrong(
        "W not taken from the colours",
        (r"W is added .* white shows 200%",),
        chips=w,
        drives=lambda d: np.hstack([d, d.min(1, keepdims=True)]),
    )
    yield Wrong(
        "W at half",
        (r"W gives 50% of the light",),
        chips=w,
        drives=lambda d: np.hstack([d - d.min(1, keepdims=True), d.min(1, keepdims=True) / 2]),
        true=("dimmed",),
    )
    yield Wrong(
        "W always at 9",
        (r"black shows W at drive 9: 3\.5% of full",),
        chips=w,
        drives=lambda d: np.hstack(
            [d - d.min(1, keepdims=True), np.maximum(d.min(1, keepdims=True), 9)]
        ),
    )

    yield Wrong(
        "W 1.3 times", (r"W gives 1[23]\d% of the light",), chips=w,
        drives=lambda d: np.hstack(
            [d - d.min(1, keepdims=True), np.minimum(1.3 * d.min(1, keepdims=True), 255)]),
    )  # fmt: skip
    yield Wrong(
        "W inverted", (r"black shows W at drive 255: 100\.0% of full",), chips=w,
        drives=lambda d: np.hstack([d - d.min(1, keepdims=True), 255 - d.min(1, keepdims=True)]),
    )  # fmt: skip
    yield Wrong(
        "intensity follows the level", (r"common intensity follows the level",), chips=("RGBI",),
        drives=lambda d: np.hstack([d, np.ceil(31 * d.max(1, keepdims=True) / 255)]),
    )  # fmt: skip

    # Ranges of levels.
    yield Wrong("level 255 dark", (r"level 255 is dark",), values=shipped("level 255 dark"))
    cut = int(rng.integers(4, 12))
    first = levels_about(level_of(cut - 0.5, display), 1)
    yield Wrong(
        f"drives below {cut} cut", (rf"levels below {first} are dark",),
        light=lambda d: np.where(d < cut, 0, d),
    )  # fmt: skip
    yield Wrong(
        "video levels sent", (r"multiplied by 0\.8[56] and 1[67] too high before the curve",),
        values=shipped("video levels sent"), true=("black shows",),
    )  # fmt: skip
    yield Wrong(
        "video levels expected",
        (r"levels below 1[67] are dark, levels from 23[456] on show full",),
        values=shipped("video levels expected"),
    )  # fmt: skip
    yield Wrong(
        "rounded to tens", (r"only 2[67] different levels are shown",),
        values=shipped("rounded to tens"),
    )  # fmt: skip
    yield Wrong(
        "stretched to the brightest",
        (r"levels depend on the picture: half grey on the whole wall shows",),
        light=lambda d: d * 255 / max(d.max(), 1), least=8,
    )  # fmt: skip
    yield Wrong(
        "neighbours in the data mixed in",
        (r"80% of its own cell and 10% of each of the cells of the LEDs before and after it",),
        light=lambda d: 0.8 * d + 0.1 * np.roll(d, 1, 0) + 0.1 * np.roll(d, -1, 0), least=8,
        true=("of its own cell", "neither one cell nor a mixture"),  # that beside a gap
    )  # fmt: skip
    n = int(rng.integers(8, 30))
    yield Wrong(
        f"1 to {n} full",
        (rf"levels 1 to {n} show full light",),
        values=lambda v: np.where((v > 0) & (v <= n), 255, v),
    )
    for t in (80, int(rng.integers(60, 150))):
        yield Wrong(
            f"below {t} black",
            (rf"levels below {t} are dark",),
            values=lambda v, t=t: np.where(v < t, 0, v),
        )
    a = int(rng.integers(60, 200))
    b = a + int(rng.integers(0, 30))
    name = f"levels {a} to {b} are dark" if b > a else f"level {a} is dark"
    yield Wrong(name, (name,), values=lambda v: np.where((v >= a) & (v <= b), 0, v))
    c = int(rng.integers(0, 3))
    yield Wrong(
        f"{NAMES[c]}: {name}",
        (rf"{NAMES[c]} does not follow.*{name}",),
        values=lambda v: np.where((v >= a) & (v <= b) & (np.arange(3) == c), 0, v),
    )
    yield Wrong(
        "drives below 24 cut",
        (rf"levels below {levels_about(level_of(23.5, display), 1)} are",),
        light=lambda d: np.where(d < 24, 0, d),
    )
    b2 = a + 20
    yield Wrong(
        f"{a} to {b2} stuck",
        (rf"levels {levels_about(a, 1)} to {levels_about(b2, 1)} all show",),
        values=lambda v: np.where((v >= a) & (v <= b2), a, v),
    )
    top = int(rng.integers(150, 230))
    yield Wrong(
        f"full from {top}",
        (rf"levels from {levels_about(top, 1)} on (all )?show",),
        values=lambda v: np.where(v >= top, 255, v),
    )
    cap = float(rng.uniform(0.3, 0.8))
    yield Wrong(
        f"cut off at {cap:.2f}",
        (rf"on all show {percent(cap)} of full light",),
        light=lambda d: np.minimum(d, 255 * cap),
        true=(BRIGHT,),
    )
    yield Wrong(
        "gain 1.5, cut off",
        (
            rf"levels from {levels_about(level_of(170, display))} on all show full light",
            r"the light is 1\.[45]\d times what is meant",
        ),
        light=lambda d: np.minimum(1.5 * d, 255),
    )
    yield Wrong(
        "levels doubled",
        (r"multiplied by (2\.0|1\.9)\d before the curve.*levels from 12[6-9] on",),
        values=shipped("levels doubled"),
    )
    yield Wrong(
        "half of the levels",
        (r"multiplied by 0\.50 before the curve|full white shows 2[01]%",),
        values=shipped("half of the levels"),
    )

    # Curves.
    yield Wrong(
        "no curve",
        (r"shows 50% of full light, not 2[12]%.*exponent of 1\.00",),
        values=shipped("no curve"),
    )
    for e in (1.8, 2.8, float(rng.uniform(1.2, 1.9)), float(rng.uniform(2.5, 3.8))):
        yield Wrong(
            f"exponent {e:.2f}",
            (f"an exponent of ({near(e)})",),
            values=lambda v, e=e: level_for((v / 255) ** e),
        )
    yield Wrong(
        "curve twice",
        (r"levels go through the curve twice",),
        values=shipped("curve twice"),
    )
    yield Wrong(
        "curve twice, 8 bits between",
        (r"levels go through the curve twice",),
        values=lambda v: np.round(255 * curve(v / 255)),
    )
    yield Wrong(
        "inverse curve",
        (r"inverse of the curve",),
        values=shipped("inverse curve"),
    )
    yield Wrong(
        "green without a curve",
        (r"green does not follow.*50%.*exponent of 1\.00",),
        values=shipped("green without a curve"),
    )

    # Black. What three channels have in common comes from W.
    w_at = "W at " if kind == "RGBW" else ""
    for k in (3, int(rng.integers(2, 12))):
        told = rf"black shows {w_at}drive {k}: {k / 255:.1%} of full"
        yield Wrong(f"black at least {k}", (told,), light=lambda d, k=k: np.maximum(d, k))
        yield Wrong(f"{k} added", (told,), light=lambda d, k=k: np.minimum(d + k, 255))
        yield Wrong(f"lifted to {k}", (told,), light=lambda d, k=k: k + d * (255 - k) / 255)
    yield Wrong(
        "blue's black at 5",
        (r"black shows blue at drive 5: 2\.0% of full",),
        light=lambda d: np.maximum(d, [0, 0, 5]),
        chips=("RGB", "RGBI"),
    )
    yield Wrong(
        "20 taken off",
        (r"levels below 8\d are dark: every level loses (19|20|21) drive steps",),
        light=lambda d: np.maximum(d - 20, 0),
        true=(BRIGHT,),
    )
    yield Wrong(
        "levels 30 too high",
        (r"30 too high before the curve: level 0 shows as 30", f"black shows {w_at}drive 3"),
        values=shipped("levels 30 too high"),
    )

    # Bits and overflow.
    for n in (1, 2, 3, 4, 5):
        # Dropping bits darkens; the full level then is not full.
        yield Wrong(
            f"{n} bits of the level",
            (rf"\b{n} bits? (is|are) left of 8",),
            values=lambda v, n=n: np.floor(v / 2 ** (8 - n)) * 2 ** (8 - n),
        )
        yield Wrong(
            f"{n} bits of the drive",
            (rf"\b{n} bits? (is|are) left of 8",),
            light=lambda d, n=n: np.round(d * (2**n - 1) / 255) * 255 / (2**n - 1),
        )
    yield Wrong(
        "overflow of levels",
        (r"the light falls from level 213 to level 214.*1\.2 times",),
        values=shipped("overflow of levels"),
    )
    yield Wrong(
        "overflow of drives",
        (r"the light falls from level \d+ .*1\.[45]\d? times",),
        light=lambda d: np.floor(1.5 * d) % 256,
    )
    yield Wrong("inverted", (r"inverted",), values=shipped("inverted"), true=("black shows",))
    yield Wrong(
        "bit 5 missing",
        (r"bit 5 of every level is always 0",),
        values=lambda v: (v.astype(int) & ~32).astype(float),
        true=(BRIGHT,),
    )
    yield Wrong(
        "bits reversed", (r"the bits of every level are reversed",), values=shipped("bits reversed")
    )
    yield Wrong(
        "halves exchanged",
        (r"halves of every level's bits are exchanged",),
        values=lambda v: ((v.astype(int) >> 4) | ((v.astype(int) & 15) << 4)).astype(float),
    )

    # LEDs.
    led = int(rng.integers(0, leds))
    g = float(rng.uniform(0.3, 0.75))
    of = f" of line {wiring.line[led]}" if len(wiring.line_lengths) > 1 else ""
    one = (np.arange(leds) == led)[:, None]
    if leds > 4:
        yield Wrong(
            f"an LED at {g:.2f}",
            (rf"LED {wiring.led[led]}{of} shows {percent(g)} of",),
            light=lambda d: np.where(one, g * d, d),
        )
        tint = np.where(one & (np.arange(3) == c), g, 1)
        yield Wrong(
            "a tinted LED",
            (rf"LED {wiring.led[led]}{of} shows {NAMES[c]} at {percent(g)} of",),
            light=lambda d: d * tint,
        )
        yield Wrong(
            "an LED without a curve",
            (rf"LED {wiring.led[led]}{of} differs from the rest between dark and full",),
            values=lambda v: np.where(one, level_for(v / 255), v),
        )
        glow = 8.0 * one * (np.arange(3) == 0)
        if kind != "RGBW":
            yield Wrong(
                "an LED that glows",
                (rf"black shows drive 8 on LED {wiring.led[led]}{of}: 3\.1%",),
                light=lambda d: np.maximum(d, glow),
            )
    if len(wiring.line_lengths) > 1:
        yield Wrong(
            "line 1 at 60 %",
            (r"line 1 shows (59|60|61)% of",),
            light=lambda d: np.where((wiring.line == 1)[:, None], 0.6 * d, d),
        )
    row = int(rng.integers(0, display.grid.rows))
    if display.grid.rows > 4:
        yield Wrong(
            f"row {row} at {g:.2f}",
            (rf"row {row} shows {percent(g)} of",),
            light=lambda d: np.where((wiring.row == row)[:, None], g * d, d),
        )
    if display.grid.columns >= 12 and leds >= 100:
        fade = 1 - 0.5 * wiring.column[:, None] / (display.grid.columns - 1)
        yield Wrong(
            "a fade to one side",
            (r"changing along the columns from (99|100|101)% to (49|50|51)%",),
            light=lambda d: d * fade,
        )  # fmt: skip
    if leds >= 100:
        factors = rng.uniform(0.6, 1.0, (leds, 1))
        yield Wrong(
            "every LED its own",
            (r"LEDs of \d+ differ from the rest",),
            light=lambda d: d * factors,
            true=(BRIGHT,),
        )


def right_styles(display, rng: np.random.Generator) -> Iterator[tuple[str, Callable]]:
    """Code that is right, in the ways people write it; for a display of sRGB at full white."""
    curve, white, kind = curve_of(display), full(display), display.chip.channels
    table = 255 * curve(np.arange(256) / 255)

    def by(table, white=white):
        def run(picture):
            value = own_cells(picture, display).astype(int)
            return send(np.asarray(table, dtype=float)[value] * white / 255, display)

        return run

    yield "rounded table", by(np.round(table))
    yield "floored table", by(np.floor(table))
    yield "table rounded up from 1 on", by(np.where(np.arange(256) > 0, np.ceil(table), 0))
    yield "lit from level 1 on", by(np.where(np.arange(256) > 0, np.maximum(np.round(table), 1), 0))
    yield "2.2, rounded", by(np.round(255 * (np.arange(256) / 255) ** 2.2))
    yield "2.2, floored", by(np.floor(255 * (np.arange(256) / 255) ** 2.2))
    yield "2.2, plus a half", by(np.floor(255 * (np.arange(256) / 255) ** 2.2 + 0.5))
    yield "2.2, of 256", by(np.floor(255 * (np.arange(256) / 256) ** 2.2 + 0.5))
    yield "2.25", by(np.round(255 * (np.arange(256) / 255) ** 2.25))
    yield "up to 254", by(np.round(254 * curve(np.arange(256) / 255)))
    yield "scaled by 255/256", by(np.floor(table * 255 / 256))
    yield "the lowest bit lost", by(np.round(table[np.arange(256) & ~1]))
    yield "the lowest bit of the drive lost", by(np.round(table).astype(int) & ~1)
    yield "one level late", by(np.round(table[np.maximum(np.arange(256) - 1, 0)]))
    yield "one level early", by(np.round(table[np.minimum(np.arange(256) + 1, 255)]))
    yield "float32", by(np.round(table.astype(np.float32)))
    yield "16 bits, shifted", by((np.round(65535 * curve(np.arange(256) / 255)).astype(int)) >> 8)
    yield (
        "through 1024 entries",
        by(np.round(255 * curve(np.round(np.arange(256) / 255 * 1023) / 1023))),
    )

    def dithered(picture):
        drives = white / 255 * table[own_cells(picture, display).astype(int)]
        return send(np.floor(drives + rng.random(drives.shape[:1])[:, None]), display)

    yield "dithered at random", dithered

    count = {"n": 0}

    def stepped(picture):
        count["n"] += 1
        drives = table[own_cells(picture, display).astype(int)]
        return send(np.floor(drives + (count["n"] % 4 + 0.5) / 4), display)

    yield "dithered in four frames", stepped

    error = {"left": 0.0}

    def carried(picture):
        drives = table[own_cells(picture, display).astype(int)] + error["left"]
        sent = np.clip(np.round(drives), 0, 255)
        error["left"] = np.where(drives > 0.5, np.clip(drives - sent, -0.5, 0.5), 0)
        return send(sent, display)

    yield "the error carried on", carried

    def limited(most, whole=np.round):
        def run(picture):
            drives = whole(table[own_cells(picture, display).astype(int)])
            used = drives.mean() / 255
            return send(whole(drives * min(1, most / max(used, 1e-9))), display)

        return run

    for most in (0.1, 0.15, 0.3, 0.5, 0.9):
        yield f"limited to {most:.0%}", limited(most)
        yield f"limited to {most:.0%}, floored", limited(most, np.floor)
    yield "lists of numbers", lambda p: [part.tolist() for part in by(np.round(table))(p)]
    yield "bytes", lambda p: b"".join(part.tobytes() for part in by(np.round(table))(p))
    if kind == "RGBW":

        def no_white(picture):
            drives = np.round(table[own_cells(picture, display).astype(int)])
            return send(np.hstack([drives, np.zeros((len(drives), 1))]), display, kind)

        def half_white(picture):
            drives = np.round(table[own_cells(picture, display).astype(int)])
            w = np.floor(drives.min(1, keepdims=True) / 2)
            return send(np.hstack([drives - w, w]), display, kind)

        def light_white(picture):
            drives = table[own_cells(picture, display).astype(int)]
            w = drives.min(1, keepdims=True)
            return send(np.hstack([drives - w, w]), display, kind)

        yield "W unused", no_white
        yield "W takes half", half_white
        yield "W before rounding", light_white
    if kind == "RGBI":

        def fine(picture):  # a low intensity where that leaves all channels below full
            drives = table[own_cells(picture, display).astype(int)]
            need = np.clip(np.ceil(31 * drives.max(1, keepdims=True) / 255), 1, 31)
            return send(np.hstack([np.minimum(drives * 31 / need, 255), need]), display, kind)

        yield "a common intensity for the dark", fine
