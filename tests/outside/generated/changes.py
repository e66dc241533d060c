"""Right code with one change, what it sends, and false statements about colours and levels."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np

from tests.outside.generated.cases import Case, ToWire
from tests.outside.generated.run import Report
from tests.outside.generated.walls import Array, Wall
from tests.outside.generated.words import Said, both, either, expand, has

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
    """Right code, except for a change of the codes, light, drives or bytes of the LEDs."""

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
    "time": r"the picture before|pictures? late|frames? late|not repeatable|shines through|"
    r"frames \d[^|]*exchanged",
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
    """Right ranges of levels that are named as wrong, and false figures for white and black."""
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

    def __init__(self, seed: int) -> None:
        self.random = np.random.default_rng(seed)
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


def mask(wall: Wall, leds: Array) -> Array:
    return np.isin(np.arange(wall.leds), leds)
