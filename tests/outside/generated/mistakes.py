"""Mistakes of a map: each changes what the LEDs show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.outside.generated.walls import Array, Wall
from tests.outside.generated.words import Said, both, either, has, number

NOWHERE = (-1, -1)


@dataclass
class Part:
    """One mistake: what LEDs show after it, in words, and what names it."""

    kind: str
    truth: str
    shown: Array  # (N, 2) column, row; NOWHERE is dark
    named: Said
    half: Array | None = None  # LEDs at half their light


Mistake = Callable[[Wall, Array, np.random.Generator], Part]
BACK = r"backward|revers|other way|opposite|wrong way"


def _line_of(wall: Wall, k: int) -> Array:
    return np.arange(wall.bounds[k], wall.bounds[k + 1])


def at(wall: Wall, k: int) -> Said:
    line, place = wall.names(k)
    return either(has(rf"\b{k}\b"), both(has(rf"\b{place}\b"), has(rf"line {line}\b")))


def mirror(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    out = _moved(wall, shown, lambda c, r: (wall.columns - 1 - c, r))
    return Part("mirrored", "mirrored left-right", out,
                has(rf"mirror|left.{{1,5}}right|right.{{1,5}}left|{BACK}"))  # fmt: skip


def flip(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    out = _moved(wall, shown, lambda c, r: (c, wall.rows - 1 - r))
    return Part("upside down", "mirrored top-bottom", out,
                has(r"upside|top.{1,5}bottom|bottom.{1,5}top|flip|mirror"))  # fmt: skip


def turn(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    out = _moved(wall, shown, lambda c, r: (wall.columns - 1 - c, wall.rows - 1 - r))
    return Part("turned", "turned by 180°", out,
                has(rf"180|half turn|turned|rotat|upside|{BACK}|bottom-|top-right"))  # fmt: skip


def path(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    other = "progressive" if wall.path == "serpentine" else "serpentine"
    out = _as_if(wall, shown, np.array([c for s in wall.strips(path=other) for c in s]))
    return Part("path", f"the map is {other}, the wiring {wall.path}", out,
                has(rf"serpentine|progressive|{BACK}"))  # fmt: skip


def along(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    other = "columns" if wall.along == "rows" else "rows"
    ways = (Wall("", wall.columns, wall.rows, start=wall.start, along=other, path=wall.path,
                 gaps=wall.gaps).strips())  # fmt: skip
    out = _as_if(wall, shown, np.array([c for s in ways for c in s]))
    return Part("along", f"the map runs along {other}, the wiring along {wall.along}", out,
                has(r"along|transpos|diagonal|rows and columns"))  # fmt: skip


def exchange(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    word = "row" if random.random() < 0.7 else "column"
    a, b = sorted(int(k) for k in random.permutation(getattr(wall, word + "s"))[:2])
    swap = {a: b, b: a}
    if word == "row":
        out = _moved(wall, shown, lambda c, r: (c, swap.get(r, r)))
    else:
        out = _moved(wall, shown, lambda c, r: (swap.get(c, c), r))
    return Part(f"{word}s exchanged", f"{word}s {a} and {b} are exchanged", out,
                both(has(word), has(rf"\b{a}\b"), has(rf"\b{b}\b")))  # fmt: skip


def late_from(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    line = _line_of(wall, int(random.integers(wall.lines)))
    k = int(random.integers(1, len(line) - 4))
    step = int(random.choice([1, -1]))
    out = shown.copy()
    part = line[k:]
    if step == 1:
        out[part] = shown[part - 1]
    else:
        out[part] = np.vstack([shown[part[1:]], [NOWHERE]])
    first = int(part[0])
    near = either(*(at(wall, first + d) for d in (0, -1, 1) if 0 <= first + d < wall.leds))
    return Part("off by one", f"from LED {first} on each shows the cell of its "
                f"{'last' if step == 1 else 'next'} neighbour", out,
                both(has("late|early|one|off|shift|further|next|behind"), near))  # fmt: skip


def width(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    made = wall.columns + int(random.choice([-2, -1, 1, 2, 3]))
    out = np.full_like(shown, -1)
    for row in range(wall.rows):
        for column in range(wall.columns):
            back = wall.path == "serpentine" and row % 2
            led = row * made + (made - 1 - column if back else column)
            if 0 <= led < wall.leds and column < made:
                out[led] = column, row
    return Part("grid width", f"made for rows of {made}; this wall has {wall.columns}", out,
                both(number(made), has("row|wide|width|column|grid")))  # fmt: skip


def height(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    made = wall.rows + int(random.choice([-2, -1, 1, 2]))
    out = np.full_like(shown, -1)
    for column in range(wall.columns):
        for row in range(min(wall.rows, made)):
            back = wall.path == "serpentine" and column % 2
            led = column * made + (made - 1 - row if back else row)
            if 0 <= led < wall.leds:
                out[led] = column, row
    return Part("grid height", f"made for columns of {made}; this wall has {wall.rows}", out,
                both(number(made), has("column|high|height|row|grid")))  # fmt: skip


def lines_swapped(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    a, b = sorted(int(k) for k in random.permutation(wall.lines)[:2])
    out = shown.copy()
    out[_line_of(wall, a)], out[_line_of(wall, b)] = (
        shown[_line_of(wall, b)], shown[_line_of(wall, a)])  # fmt: skip
    return Part("lines exchanged", f"lines {a} and {b} are exchanged", out,
                both(has("line"), has(rf"\b{a}\b"), has(rf"\b{b}\b")))  # fmt: skip


def line_back(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(wall.lines))
    out = shown.copy()
    out[_line_of(wall, k)] = shown[_line_of(wall, k)[::-1]]
    which = has(rf"line {k}\b|\brows?\b|wall") if wall.lines > 1 else has(".")
    return Part("line backwards", f"line {k} runs backwards", out,
                both(has(rf"{BACK}|180|turn|corner|start|upside|mirror"), which))  # fmt: skip


def line_corner(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(wall.lines))
    block = wall.line_cells[k]
    low, high = block.min(axis=0), block.max(axis=0)
    out, leds = shown.copy(), _line_of(wall, k)
    across = bool(random.integers(2))
    sums = (low + high) if True else low
    for led in leds:
        c, r = shown[led]
        if low[0] <= c <= high[0] and low[1] <= r <= high[1]:
            out[led] = (sums[0] - c, r) if across else (c, sums[1] - r)
    word = "left-right" if across else "top-bottom"
    return Part(
        "corner of one line",
        f"line {k} is mirrored {word}",
        out,
        both(has(rf"line {k}\b|\brows?\b"), has(rf"mirror|corner|start|{BACK}|upside|exchang")),
    )


def line_path(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(wall.lines))
    other = "progressive" if wall.path == "serpentine" else "serpentine"
    whole = _as_if(wall, shown, np.array([c for s in wall.strips(path=other) for c in s]))
    out = shown.copy()
    out[_line_of(wall, k)] = whole[_line_of(wall, k)]
    return Part(
        "path of one line",
        f"line {k} is taken to be {other}",
        out,
        both(has(rf"line {k}\b|\brows?\b|\bruns?\b"), has(rf"serpentine|progressive|{BACK}")),
    )


def run_back(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(len(wall.runs)))
    leds = wall.runs[k]
    out = shown.copy()
    out[leds] = shown[leds[::-1]]
    return Part("run backwards", f"{strip(wall, k)} runs backwards", out,
                both(has(BACK), in_strip(wall, k)))  # fmt: skip


def strip(wall: Wall, k: int) -> str:
    word, axis = ("row", 1) if wall.along == "rows" else ("column", 0)
    return f"run {k} ({word} {wall.cells[wall.runs[k][0], axis]}, LEDs {wall.runs[k][0]} ff)"


def in_strip(wall: Wall, k: int) -> Said:
    word, axis = ("row", 1) if wall.along == "rows" else ("column", 0)
    leds = wall.runs[k]
    return either(
        has(rf"runs? {k}\b"),
        has(rf"{word}s? .*\b{wall.cells[leds[0], axis]}\b"),
        both(at(wall, int(leds[0])), at(wall, int(leds[-1]))),
        both(at(wall, int(leds[0]) + 1), at(wall, int(leds[-1]) - 1)),
    )


def shuffled(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(len(wall.runs)))
    leds = wall.runs[k]
    out = shown.copy()
    out[leds] = shown[random.permutation(leds)]
    return Part(
        "run shuffled",
        f"no order within {strip(wall, k)}",
        out,
        both(has("order|shuffl|random|mixed|scrambl|jumbl|each shows"), in_strip(wall, k)),
    )


def line_shuffled(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(wall.lines))
    out = shown.copy()
    leds = _line_of(wall, k)
    out[leds] = shown[random.permutation(leds)]
    where = has(rf"line {k}\b|LEDs? {leds[0]}\b") if wall.lines > 1 else has(".")
    return Part("line shuffled", f"no order within line {k}", out,
                both(has("order|shuffl|random|mixed|scrambl|jumbl|no pattern"), where))  # fmt: skip


def dead(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    count = int(random.integers(1, 9))
    leds = np.sort(random.choice(wall.leds, count, replace=False))
    if random.random() < 0.4:
        leds = np.arange(leds[0], min(leds[0] + count, wall.leds))
    out = shown.copy()
    out[leds] = NOWHERE
    return Part(
        "dead LEDs",
        f"LEDs {leds} are never lit",
        out,
        both(has("never lit|dark|dead|not lit|nothing|black"), at(wall, int(leds[0]))),
    )


def lit(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    """A few LEDs show the cell of one other, everywhere the same."""
    leds = np.sort(random.choice(wall.leds, 4, replace=False))
    out = shown.copy()
    out[leds[:3]] = shown[leds[3]]
    return Part("cell shown twice", f"LEDs {leds[:3]} show the cell of LED {leds[3]}", out,
                both(has("LED"), at(wall, int(leds[0]))))  # fmt: skip


def pairs(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    count = min(int(random.integers(1, 9)), wall.leds // 8)
    leds = random.choice(wall.leds, (count, 2), replace=False)
    out = shown.copy()
    out[leds[:, 0]], out[leds[:, 1]] = shown[leds[:, 1]], shown[leds[:, 0]]
    said = [at(wall, int(k)) for k in leds.ravel()]
    return Part(
        "pairs exchanged",
        f"LEDs {leds.tolist()} are exchanged, pair by pair",
        out,
        either(both(has("LED"), *said), both(has("LED"), said[0]), has("no order")),
    )


def shift(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    across = bool(random.integers(2))
    step = int(random.choice([1, -1]))
    c, r = shown[:, 0], shown[:, 1]
    moved = np.stack([(c + step) % wall.columns, r] if across else [c, (r + step) % wall.rows], 1)
    out = np.where((shown >= 0).all(axis=1)[:, None], moved, shown)
    word = "column" if across else "row"
    return Part(
        f"shifted by a {word}",
        f"everything is {step:+d} {word}, the last comes round",
        out,
        both(has(word), has(r"shift|one|\b1\b|moved|further|off|up|down|left|right")),
    )


def rows_round(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    n = int(random.integers(3, 6)) if wall.rows >= 8 else 3
    a = int(random.integers(wall.rows - n + 1))
    out = _moved(wall, shown, lambda c, r: (c, a + (r - a + 1) % n if a <= r < a + n else r))
    return Part(
        "rows in a circle",
        f"rows {a} to {a + n - 1} each show the next, the last the first",
        out,
        both(has("row|run"), either(has(rf"\b{a}\b"), has(rf"\b{a + n - 1}\b"))),
    )


def segment_back(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    line = _line_of(wall, int(random.integers(wall.lines)))
    n = int(random.integers(5, max(6, len(line) // 4)))
    a = int(random.integers(len(line) - n))
    leds = line[a : a + n]
    out = shown.copy()
    out[leds] = shown[leds[::-1]]
    return Part("range backwards", f"LEDs {leds[0]} to {leds[-1]} run backwards", out,
                either(both(has(BACK), either(at(wall, int(leds[0])), at(wall, int(leds[-1])))),
                       both(has("order"), has("run|row|column|LED"))))  # fmt: skip


def half_light(wall: Wall, shown: Array, random: np.random.Generator) -> Part:
    k = int(random.integers(len(wall.runs)))
    mask = np.isin(np.arange(wall.leds), wall.runs[k])
    return Part("run at half light", f"{strip(wall, k)} shows 50 % of its light", shown,
                both(has("5[0-9] ?%|4[5-9] ?%|half"), in_strip(wall, k)), half=mask)  # fmt: skip


MISTAKES: dict[Mistake, tuple[str, ...]] = {
    mirror: (), flip: (), turn: (), path: ("bijective",), along: ("bijective", "one line"),
    exchange: (), late_from: (), width: ("first", "by rows"), height: ("first", "by columns"),
    lines_swapped: ("lines",), line_back: (), line_corner: ("lines",), line_path: ("lines",),
    run_back: (), shuffled: (), line_shuffled: (), dead: (), lit: (), pairs: (), shift: ("full",),
    rows_round: (), segment_back: (), half_light: (),
}  # fmt: skip


def _moved(wall: Wall, shown: Array, to: Callable[[int, int], tuple[int, int]]) -> Array:
    return np.array([to(int(c), int(r)) if c >= 0 else NOWHERE for c, r in shown])


def _as_if(wall: Wall, shown: Array, order: Array) -> Array:
    """Every LED shows the cell that `order` has at its own place in the right order."""
    place = {(int(c), int(r)): k for k, (c, r) in enumerate(wall.cells)}
    return np.array(
        [order[place[int(c), int(r)]] if (int(c), int(r)) in place else NOWHERE for c, r in shown]
    )


def fits(mistake: Mistake, wall: Wall) -> bool:
    needs = MISTAKES[mistake]
    return not (
        ("lines" in needs and wall.lines < 2)
        or ("one line" in needs and wall.lines > 1)
        or ("full" in needs and wall.gaps)
        or ("by rows" in needs and (wall.along != "rows" or wall.start != "top-left" or wall.gaps
                                    or wall.lines > 1))
        or ("by columns" in needs and (wall.along != "columns" or wall.start != "top-left"))
    )  # fmt: skip
