"""Styles of right code: none of them may draw a fault or a warning."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from tests.outside.generated.cases import Case
from tests.outside.generated.changes import coded
from tests.outside.generated.player import after
from tests.outside.generated.walls import WALLS, Array, Wall

CURVE = [  # IEC 61966-2-1
    v / 255 / 12.92 if v / 255 <= 0.04045 else ((v / 255 + 0.055) / 1.055) ** 2.4
    for v in range(256)
]


def pixel_by_pixel(wall: Wall) -> Callable[[Array], bytes]:
    """Two loops and plain numbers, as in C."""
    table = [int(255 * v + 0.5) for v in CURVE]
    led = wall.led_of

    def to_wire(picture: Array) -> bytes:
        out = bytearray(3 * wall.leds)
        for row in range(wall.rows):
            for column in range(wall.columns):
                k = 3 * int(led[row, column])
                if k < 0:
                    continue
                r, g, b = (table[int(v)] for v in picture[row, column])
                values = {"R": r, "G": g, "B": b}
                for n, letter in enumerate(wall.order):
                    out[k + n] = values[letter]
        return bytes(out)

    return to_wire


def as_lines(wall: Wall, form: Callable[[bytes], Any]) -> Callable[[Array], Any]:
    return lambda p: [form(line) for line in wall.frames(wall.drives(wall.gather(p)))]


def whole(wall: Wall, form: Callable[[bytes], Any]) -> Callable[[Array], Any]:
    return lambda p: form(wall.right(p))


def reused(wall: Wall) -> Callable[[Array], Any]:
    """One buffer, written again each time."""
    buffer = bytearray(len(wall.right(np.zeros((wall.rows, wall.columns, 3), np.uint8))))

    def to_wire(picture: Array) -> bytearray:
        buffer[:] = wall.right(picture)
        return buffer

    return to_wire


def reused_array(wall: Wall) -> Callable[[Array], Any]:
    """One array, its half that did not change left alone."""
    last: dict[str, Any] = {"codes": None}
    drives = np.zeros((wall.leds, 3), int)

    def to_wire(picture: Array) -> bytes:
        codes = wall.gather(picture)
        old = last["codes"]
        changed = np.ones(len(codes), bool) if old is None else (codes != old).any(axis=1)
        drives[changed] = wall.drives(codes[changed])
        last["codes"] = codes
        return b"".join(wall.frames(drives))

    return to_wire


def white_taken(wall: Wall, part: float) -> Callable[[Array], bytes]:
    """The common part of red, green and blue goes to W and is subtracted from them."""

    def to_wire(picture: Array) -> bytes:
        light = wall.light(wall.gather(picture))
        white = light.min(axis=1, keepdims=True) * part
        return b"".join(wall.frames(np.rint(255 * np.hstack([light - white, white])).astype(int)))

    return to_wire


def fine_steps(wall: Wall) -> Callable[[Array], bytes]:
    """Five bits of intensity make low light finer: drive times intensity counts."""

    def to_wire(picture: Array) -> bytes:
        light = wall.light(wall.gather(picture))
        top = light.max(axis=1, keepdims=True)
        head = np.clip(np.ceil(top * 31 * 1.2), 4, 31)
        drives = np.clip(np.rint(light * 255 * 31 / head), 0, 255).astype(np.uint8)
        wire = drives[:, [2, 1, 0]]
        body = np.hstack([(0xE0 | head.astype(np.uint8)), wire])
        return bytes(4) + body.tobytes() + bytes(4 + wall.leds // 16 + 1)

    return to_wire


def dithered(wall: Wall) -> Callable[[Array], bytes]:
    """What rounding leaves over is carried to the next frame."""
    carried = np.zeros((wall.leds, 3))

    def to_wire(picture: Array) -> bytes:
        wanted = wall.light(wall.gather(picture)) * 255 + carried
        drives = np.clip(np.rint(wanted), 0, 255)
        carried[:] = np.clip(wanted - drives, -0.5, 0.5)
        return b"".join(wall.frames(drives.astype(int)))

    return to_wire


def fixed_point(wall: Wall) -> Callable[[Array], bytes]:
    """A table of 16 bits, rounded with a shift."""
    table = np.array([round(v * 65535) for v in CURVE], np.uint32)
    return lambda p: b"".join(
        wall.frames(((table[wall.gather(p)] * 255 + 32768) // 65535).astype(int))
    )


def other_end(wall: Wall, end: bytes) -> Callable[[Array], bytes]:
    def to_wire(picture: Array) -> bytes:
        data = wall.right(picture)
        return data[: 4 + 4 * wall.leds] + end

    return to_wire


@cache
def cases() -> tuple[Case, ...]:
    """All styles."""
    made: list[Case] = []

    def add(style: str, wall: Wall | str, build: Callable[[], Any]) -> None:
        wall = WALLS[wall] if isinstance(wall, str) else wall
        made.append(Case("right code", wall, style, build, quiet=True))

    for name, wall in WALLS.items():
        add(f"vectorised, {name}", wall, lambda w=wall: w.right)
    for name in ("small", "two", "foyer", "square"):
        add("pixel by pixel", name, lambda w=WALLS[name]: pixel_by_pixel(w))
    two, square, clocked, rgbw = (WALLS[n] for n in ("two", "square", "clocked", "rgbw"))
    for form in (bytes, bytearray, memoryview, lambda b: np.frombuffer(b, np.uint8)):
        add(f"all in one, {form}", "two", lambda f=form: whole(two, f))
        add(f"one a line, {form}", "two", lambda f=form: as_lines(two, f))
    add("a tuple of lines", "two", lambda: lambda p: tuple(as_lines(two, bytes)(p)))
    add("one line in a list", "square", lambda: as_lines(square, bytes))
    add(
        "an array (LEDs, 3) a line",
        "square",
        lambda: as_lines(square, lambda b: np.frombuffer(b, np.uint8).reshape(-1, 3)),
    )
    for name in ("square", "clocked"):
        wall = WALLS[name]
        add(
            "drives cut off, not rounded",
            wall,
            lambda w=wall: coded(w, light=lambda v: np.floor(v * 255 + 1e-9) / 255),
        )
        add(
            "drives rounded up",
            wall,
            lambda w=wall: coded(w, light=lambda v: np.ceil(v * 255 - 1e-9) / 255),
        )
    add("a table of integers", "small", lambda: fixed_point(WALLS["small"]))
    add(
        "float32",
        "square",
        lambda: coded(square, raw=lambda c: square.light(c.astype(np.float32)).astype(np.float32)),
    )
    add(
        "lit levels never go out",
        "small",
        lambda: coded(
            WALLS["small"],
            codes=None,
            raw=lambda c: np.where(c > 0, np.maximum(WALLS["small"].light(c), 1 / 255), 0),
        ),
    )
    add("one buffer for all", "square", lambda: reused(square))
    add("one buffer for all", "two", lambda: reused(two))
    add("only what changed is calculated", "foyer", lambda: reused_array(WALLS["foyer"]))
    add("white taken out", "rgbw", lambda: white_taken(rgbw, 1.0))
    add("half of white taken out", "rgbw", lambda: white_taken(rgbw, 0.5))
    add("fine steps by intensity", "clocked", lambda: fine_steps(clocked))
    add("end frame of zeros", "clocked", lambda: other_end(clocked, bytes(8 + 4)))
    add("end frame of ones, long", "clocked", lambda: other_end(clocked, b"\xff" * 20))
    add("dithered, as declared", "dithered", lambda: dithered(WALLS["dithered"]))
    for curve in (1.8, 2.6, "L*", 1.0):
        wall = Wall("curved", 14, 8, curve=curve)
        add(f"curve {curve}, as declared", wall, lambda w=wall: w.right)
    for white, level in (((1.0, 0.5, 0.25), 1.0), ((1.0, 1.0, 1.0), 0.2), ((0.7, 1.0, 0.9), 0.6)):
        wall = Wall("white", 12, 9, white=white, brightness=level)
        add(f"white {white} and brightness {level}, as declared", wall, lambda w=wall: w.right)
    wall = Wall("channels", 11, 7, order="BRG", start="bottom-right", along="columns")
    add("another order of channels, as declared", wall, lambda w=wall: w.right)
    add(
        "5 ms a picture",
        "small",
        lambda: after(WALLS["small"], lambda n, p: time.sleep(0.005), first=True),
    )
    add(
        "a slow start of 300 ms",
        "small",
        lambda: after(WALLS["small"], lambda n, p: time.sleep(0.3 if n == 0 else 0), first=True),
    )
    add(
        "a word for each picture",
        "small",
        lambda: after(WALLS["small"], lambda n, p: print("picture", n), first=True),
    )
    add("works on a copy", "two", lambda: lambda p: two.right(np.array(p)))
    add(
        "a single column",
        Wall("column", 1, 30, along="columns"),
        lambda: Wall("column", 1, 30, along="columns").right,
    )
    add("a single LED", Wall("one", 1, 1), lambda: Wall("one", 1, 1).right)
    add(
        "sRGB, from a library's formula in float64 and astype(int) after adding 0.5",
        "plain",
        lambda: coded(WALLS["plain"], light=lambda v: (v * 255 + 0.5).astype(int) / 255),
    )
    return tuple(made)
