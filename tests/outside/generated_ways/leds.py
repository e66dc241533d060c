"""Functions `(leds, picture)` that set LEDs by number, right and wrong, over walls at random.

The rules are those of Python's mutable sequences (docs.python.org, Sequence Types) and of
`emulator/ports/README.md`: LEDs of all lines in the order of the data, red, green, blue whatever
the order on the wire; LEDs that are not set keep what they have.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np

from tests.outside.generated.walls import Array
from tests.outside.generated.words import Said, both, either, has
from tests.outside.generated_ways.cases import Case
from tests.outside.generated_ways.walls import HIDDEN, Hiding, Wall, draw

SEED = 1301
Fill = Callable[[Any, Array], None]


class Strip:
    """A driver with two calls and a buffer of its own, laid over the LEDs."""

    def __init__(self, leds: Any) -> None:
        self.leds = leds
        self.buffer = [(0, 0, 0)] * len(leds)

    def set_led(self, number: int, red: int, green: int, blue: int) -> None:
        self.buffer[number] = red, green, blue

    def show_all(self) -> None:
        self.leds[:] = self.buffer


def one_by_one(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        for n, (r, g, b) in enumerate(wall.gather(picture).tolist()):
            leds[n] = r, g, b

    return fill


def whole(wall: Wall, form: Callable[[Array], Any]) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        leds[:] = form(wall.gather(picture))

    return fill


def from_the_end(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        for n, value in enumerate(reversed(wall.gather(picture).tolist())):
            leds[-1 - n] = value

    return fill


def strides(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        drives = wall.gather(picture)
        for k in range(3):
            leds[k::3] = drives[k::3]

    return fill


def backwards(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        leds[::-1] = wall.gather(picture)[::-1]

    return fill


def line_by_line(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        drives = wall.gather(picture)
        for k, (a, b) in enumerate(pairwise(wall.bounds)):
            leds.line(k)[:] = drives[a:b]

    return fill


def line_from_the_end(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        drives = wall.gather(picture).tolist()
        for k, (a, b) in enumerate(pairwise(wall.bounds.tolist())):
            line = leds.line(k)
            assert len(line) == b - a
            for n in range(1, b - a + 1):
                line[-n] = drives[b - n]

    return fill


def in_pieces(wall: Wall) -> Fill:
    """Slices with negative and open ends."""

    def fill(leds: Any, picture: Array) -> None:
        drives, n = wall.gather(picture), wall.leds
        third = n // 3
        leds[:third] = drives[:third]
        leds[third : -third or None] = drives[third : n - third]
        if third:
            leds[-third:] = drives[n - third :]

    return fill


def two_calls(wall: Wall) -> Fill:
    strips: list[Strip] = []

    def fill(leds: Any, picture: Array) -> None:
        strips[:] = strips or [Strip(leds)]
        strips[0].leds = leds
        for n, (r, g, b) in enumerate(wall.gather(picture).tolist()):
            strips[0].set_led(n, r, g, b)
        strips[0].show_all()

    return fill


def only_changes(wall: Wall) -> Fill:
    """It sets only what has changed: LEDs keep what they have."""
    last: list[Array] = []

    def fill(leds: Any, picture: Array) -> None:
        drives = wall.gather(picture)
        changed = np.ones(wall.leds, bool) if not last else (drives != last[0]).any(axis=1)
        for n in np.flatnonzero(changed):  # numpy's own integers as indices
            leds[n] = drives[n].astype(np.uint8)
        last[:] = [drives]

    return fill


def cleared_first(wall: Wall) -> Fill:
    def fill(leds: Any, picture: Array) -> None:
        leds[:] = 0
        for n, value in enumerate(wall.gather(picture).tolist()):
            if any(value):
                leds[n] = value

    return fill


def read_back(wall: Wall) -> Fill:
    """It iterates over what it has set, and sets it again the other way round, twice."""

    def fill(leds: Any, picture: Array) -> None:
        leds[:] = wall.gather(picture)
        values = [tuple(int(v) for v in led) for led in leds]
        leds[:] = values[::-1]
        back = [tuple(int(v) for v in led) for led in reversed(leds)]
        assert back == values, "what is read is not what was set"
        leds[:] = back

    return fill


def by_cell(wall: Wall) -> Fill:
    """A dictionary from cell to number, walked in the order of the picture."""
    number = {tuple(c): n for n, c in enumerate(wall.cells.tolist()) if tuple(c) != HIDDEN}

    def fill(leds: Any, picture: Array) -> None:
        drives = wall.gather(picture)
        for row in range(wall.rows):
            for column in range(wall.columns):
                n = number.get((column, row))
                if n is not None:
                    leds[n] = bytes(drives[n].tolist())

    return fill


def shifted_in(wall: Wall) -> Fill:
    """Each LED moves on by one, LED after LED, as a chain of shift registers does."""

    def fill(leds: Any, picture: Array) -> None:
        for value in wall.gather(picture).tolist()[::-1]:
            leds[1:] = [tuple(v) for v in leds[:-1]]
            leds[0] = value

    return fill


RIGHT: dict[str, Callable[[Wall], Fill]] = {
    "one by one": one_by_one,
    "array of int": lambda w: whole(w, lambda d: d),
    "array of uint8": lambda w: whole(w, lambda d: d.astype(np.uint8)),
    "array of int32": lambda w: whole(w, lambda d: d.astype(np.int32)),
    "lists": lambda w: whole(w, lambda d: d.tolist()),
    "tuples": lambda w: whole(w, lambda d: tuple(map(tuple, d.tolist()))),
    "from the end": from_the_end,
    "strides": strides,
    "backwards": backwards,
    "line by line": line_by_line,
    "line from the end": line_from_the_end,
    "in pieces": in_pieces,
    "two calls": two_calls,
    "only changes": only_changes,
    "cleared first": cleared_first,
    "read back": read_back,
    "by cell": by_cell,
    "shifted in": shifted_in,
}


def shown_by(wall: Wall, shown: Array) -> Fill:
    """Each LED shows the cell of `shown`; HIDDEN is dark."""

    def fill(leds: Any, picture: Array) -> None:
        leds[:] = wall.gather(picture, shown)

    return fill


def _case(kind: str, wall: Wall, truth: str, build: Callable[[], Fill], *named: Said,
          **more: Any) -> Case:  # fmt: skip
    return Case(kind, wall, truth, ("--leds",), build, named=named, **more)


def _misplaced(kind: str, wall: Wall, truth: str, shown: Array, *named: Said) -> Case:
    wrong = np.asarray((shown != wall.cells).any(axis=1))
    return _case(kind, wall, truth, lambda: shown_by(wall, shown), *named, wrong=wrong,
                 blamed=("map",))  # fmt: skip


def _late(wall: Wall, rng: np.random.Generator) -> Case:
    line = int(rng.integers(wall.lines))
    a, b = int(wall.bounds[line]), int(wall.bounds[line + 1])
    k = int(rng.integers(1, b - a - 3))
    shown = wall.cells.copy()
    shown[a + k + 1 : b] = wall.cells[a + k : b - 1]
    where = has(rf"\bLEDs? {k + 1}\b|\bLEDs? {k}\b|\b{k + 1} (to|on)|LED {k + 2}\b")
    return _misplaced(
        "off by one", wall, f"line {line}: from LED {k + 1} on each shows the cell before",
        shown, both(has("late|early|one|before|shift|further|next"), where),
    )  # fmt: skip


def _reversed_run(wall: Wall, rng: np.random.Generator) -> Case:
    axis = int(rng.integers(2))
    which = int(rng.integers((wall.columns, wall.rows)[axis]))
    word = ("column", "row")[axis]
    on = np.flatnonzero(wall.cells[:, axis] == which)
    shown, size = wall.cells.copy(), (wall.columns, wall.rows)[1 - axis]
    shown[on, 1 - axis] = size - 1 - shown[on, 1 - axis]
    return _misplaced(f"{word} reversed", wall, f"{word} {which} is reversed", shown,
                      both(has("revers|backward|other way|mirror|exchang|wrong way"),
                           has(rf"\b{word}s? {which}\b|runs? \d|LEDs? \d")))  # fmt: skip


def _swapped_lines(wall: Wall, rng: np.random.Generator) -> Case:
    size = len(wall.wired[0])
    shown = wall.cells.copy()
    shown[:size], shown[size : 2 * size] = wall.cells[size : 2 * size], wall.cells[:size]
    return _misplaced("lines swapped", wall, "lines 0 and 1 are swapped", shown,
                      both(has("line"), has(r"\b0\b"), has(r"\b1\b")))  # fmt: skip


def _mirrored(wall: Wall, rng: np.random.Generator) -> Case:
    shown = wall.cells.copy()
    shown[:, 0] = wall.columns - 1 - shown[:, 0]
    return _misplaced("mirrored", wall, "mirrored left-right", shown,
                      has("mirror|left.{1,5}right|backward|revers|start"))  # fmt: skip


def _minus_n(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        for n, value in enumerate(wall.gather(picture)[::-1].tolist()):
            leds[-n] = value  # -0 is the first LED

    shown = np.roll(wall.cells, 1, axis=0)
    return _case("minus n", wall, "leds[-n] for n from 0: each shows the cell of the one before, "
                 "LED 0 that of the last", lambda: fill,
                 has("late|one|before|shift|further|next|round|rotat|cycl"),
                 wrong=(shown != wall.cells).any(axis=1), blamed=("map",))  # fmt: skip


def _short_slice(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        drives = wall.gather(picture)
        leds[0:-1] = drives[:-1]

    wrong = np.arange(wall.leds) == wall.leds - 1
    last = len(wall.wired[-1]) - 1
    return _case("slice short", wall, "the last LED is never set", lambda: fill,
                 both(has("dark|off|nothing|never|black"),
                      either(has(rf"\bLED {last}\b"), has(rf"\b{wall.leds - 1}\b"))),
                 wrong=wrong)  # fmt: skip


def _exchanged_colours(wall: Wall, rng: np.random.Generator) -> Case:
    pick = [(1, 0, 2), (2, 1, 0), (0, 2, 1), (1, 2, 0)][int(rng.integers(4))]

    def fill(leds: Any, picture: Array) -> None:
        leds[:] = wall.gather(picture)[:, pick]

    names = ["red", "green", "blue"]
    moved = [names[k] for k in range(3) if pick[k] != k]
    return _case("colours exchanged", wall, f"channels {pick} instead of (0, 1, 2)", lambda: fill,
                 both(*(has(rf"{m}|[RGB]{{3}}") for m in moved)), blamed=("colour",))  # fmt: skip


def _never_shown(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        strip = Strip(leds)
        for n, (r, g, b) in enumerate(wall.gather(picture).tolist()):
            strip.set_led(n, r, g, b)

    return _case("never shown", wall, "the driver's buffer is never shown: all stays dark",
                 lambda: fill, has("dark|nothing|black|never lit"))  # fmt: skip


def _shown_before(wall: Wall, rng: np.random.Generator) -> Case:
    strips: list[Strip] = []

    def fill(leds: Any, picture: Array) -> None:
        strips[:] = strips or [Strip(leds)]
        strips[0].leds = leds
        strips[0].show_all()
        for n, (r, g, b) in enumerate(wall.gather(picture).tolist()):
            strips[0].set_led(n, r, g, b)

    def build() -> Fill:
        strips.clear()
        return fill

    return _case("shown before set", wall, "it shows the picture before", build,
                 has("picture before|one (picture|frame)|late|previous|last picture"),
                 blamed=("timing",))  # fmt: skip


def _no_curve(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        codes = np.zeros((wall.leds, 3), int)
        at = wall.cells
        inside = at[:, 0] >= 0
        codes[inside] = picture[at[inside, 1], at[inside, 0]]
        leds[:] = codes

    return _case("no curve", wall, "values as they are; the display file says sRGB", lambda: fill,
                 has("curve|gamma|exponent|linear|sRGB"), blamed=("levels",))  # fmt: skip


def _past_the_end(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        for n, value in enumerate(wall.gather(picture).tolist()):
            leds[n + 1] = value

    return _case("past the end", wall, f"it sets LED {wall.leds}, which does not exist",
                 lambda: fill, both(has(rf"\b{wall.leds}\b"), has("LED|index")),
                 exits=(1, 2))  # fmt: skip


def _too_large(wall: Wall, rng: np.random.Generator) -> Case:
    value = int(rng.choice([256, 300, -1]))

    def fill(leds: Any, picture: Array) -> None:
        leds[:] = wall.gather(picture)
        leds[2] = 0, value, 0

    return _case("out of range", wall, f"it sets {value}", lambda: fill,
                 both(has(rf"{value}\b"), has("255")), exits=(1, 2))  # fmt: skip


def _floats(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        leds[:] = wall.gather(picture) / 255

    return _case("floats", wall, "light from 0 to 1", lambda: fill,
                 both(has("float"), has("255"), has(r"\[:\]")), exits=(1, 2))  # fmt: skip


def _wrong_length(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        leds[0:5] = wall.gather(picture)[:4]

    return _case("four into five", wall, "four values for a slice of five", lambda: fill,
                 both(has(r"\b4\b|four"), has(r"\b5\b|five")), exits=(1, 2))  # fmt: skip


def _not_cleared(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        for n, value in enumerate(wall.gather(picture).tolist()):
            if any(value):
                leds[n] = value

    return _case("not cleared", wall, "black LEDs keep what they showed", lambda: fill,
                 has("keep|before|history|steady|earlier|black|dark|differ"))  # fmt: skip


def _white_too(wall: Wall, rng: np.random.Generator) -> Case:
    def fill(leds: Any, picture: Array) -> None:
        for n, (r, g, b) in enumerate(wall.gather(picture).tolist()):
            leds[n] = r, g, b, min(r, g, b)  # not subtracted from the others

    return _case("white on top", wall, "W shows what red, green and blue show already",
                 lambda: fill, has(r"\bW\b|white"), blamed=("colour", "levels"))  # fmt: skip


WRONG: dict[Callable[[Wall, np.random.Generator], Case], dict[str, Any]] = {
    _late: {}, _reversed_run: {"size": (8, 6)}, _mirrored: {"size": (9, 5)}, _minus_n: {"lines": 1},
    _swapped_lines: {"size": (6, 6), "lines": 2}, _short_slice: {}, _exchanged_colours: {},
    _never_shown: {}, _shown_before: {}, _no_curve: {"linear": False}, _past_the_end: {},
    _too_large: {}, _floats: {}, _wrong_length: {}, _not_cleared: {},
    _white_too: {"part": "SK6812-RGBW"},
}  # fmt: skip


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    rng = np.random.default_rng(SEED)
    made: list[Case] = []
    for n in range(2):
        for style, make in RIGHT.items():
            hiding = Hiding(first=int(rng.integers(2)) if n else 0)
            small = (5, 4) if style == "shifted in" else None
            wall = draw(rng, hiding=hiding, size=small)
            made.append(_case(f"right: {style}", wall, "right",
                              lambda make=make, wall=wall: make(wall), quiet=True))  # fmt: skip
        for wrong, given in WRONG.items():
            part = given.get("part") or str(
                rng.choice(["WS2812B", "SK6812", "WS2811-HIGH", "APA102"])
            )
            wall = draw(rng, **(given | {"part": part}))
            made.append(wrong(wall, rng))
    return tuple(made)
