"""LEDs that mix cells of the picture, in light or in levels, with and without noise; noise alone.

Each case knows which LEDs mix what (the shares follow from how it is made). A finding may name the
shares, or say that what an LED shows depends on more than its own cell. No colour, level or map is
wrong otherwise, so no finding may say so.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.outside.generated.cases import Case
from tests.outside.generated.run import Report
from tests.outside.generated.walls import Array, Wall
from tests.outside.generated.words import Said, has, share

SEED = 31

WALLS = (
    Wall("3 by 5", 3, 5),
    Wall("4 by 4", 4, 4, path="progressive", order="RGB", part="WS2811-HIGH"),
    Wall("6 by 2", 6, 2, start="bottom-right"),
    Wall("1 by 9", 9, 1),
    Wall("5 by 7", 5, 7, part="SK6812-RGBW", order="GRBW", along="columns"),
    Wall("8 by 5", 8, 5, part="APA102", order="BGR", lines=2),
    Wall("9 by 6", 9, 6, curve=2.2, white=(1.0, 0.8, 0.6), lines=3),
    Wall("16 by 12", 16, 12, lines=2, start="top-right", gaps=((5, 4, 2, 2),)),
    Wall("24 by 24", 24, 24),
)
EDGES = ("own", "wrapped", "dark")  # what stands for a cell beyond the edge
EXPLAINED = has(r"\d+ ?%( each)? of ((its|their) own|the) cell")
UNKNOWN = has(r"depends? on more than")
NEITHER = has(r"neither one cell nor a mixture")  # of no more LEDs than do mix
NOISE = has(r"noise|different bytes|steps apart")


@dataclass(frozen=True)
class Mixture:
    """shares: (N, M) of each cell, rows × columns, in each LED. figures: shares that are named."""

    truth: str
    shares: Array
    figures: tuple[float, ...]


def shifted(wall: Wall, taps: dict[tuple[int, int], float], edge: str) -> Array:
    """(N, M) shares of the cells that lie so far from each LED's own."""
    shares = np.zeros((wall.leds, wall.rows * wall.columns))
    for led, (column, row) in enumerate(wall.cells.tolist()):
        for (right, down), part in taps.items():
            x, y = column + right, row + down
            if edge == "wrapped":
                x, y = x % wall.columns, y % wall.rows
            if not (0 <= x < wall.columns and 0 <= y < wall.rows) or wall.is_gap((x, y)):
                if edge != "own":
                    continue
                x, y = column, row
            shares[led, y * wall.columns + x] += part
    return shares


def along(wall: Wall, taps: dict[int, float]) -> Array:
    """(N, M) shares of the cells of LEDs so far on along the wire; beyond its end its last."""
    shares = np.zeros((wall.leds, wall.rows * wall.columns))
    for led in range(wall.leds):
        for on, part in taps.items():
            column, row = wall.cells[int(np.clip(led + on, 0, wall.leds - 1))]
            shares[led, row * wall.columns + column] += part
    return shares


def resampled(wall: Wall, factor: float) -> Array:
    """(N, M) shares of a picture that is drawn `factor` as wide, and read between two cells."""
    shares = np.zeros((wall.leds, wall.rows * wall.columns))
    for led, (column, row) in enumerate(wall.cells.tolist()):
        place = (column + 0.5) * factor - 0.5
        low = int(np.floor(place))
        for x, part in ((low, low + 1 - place), (low + 1, place - low)):
            x = int(np.clip(x, 0, wall.columns - 1))
            shares[led, row * wall.columns + x] += part
    return shares


def mixtures(wall: Wall, random: np.random.Generator) -> Iterator[Mixture]:
    """Every kind of mixture that this wall can show, with shares at random."""
    part = float(random.choice([0.1, 0.2, 0.3, 0.4, 0.5]))
    edge = str(random.choice(EDGES))
    ways = {"right": (1, 0), "left": (-1, 0), "below": (0, 1), "above": (0, -1)}
    for name, way in ways.items():
        if (wall.columns if way[0] else wall.rows) > 1:
            taps = {(0, 0): 1 - part, way: part}
            yield Mixture(f"{part:.0%} of the cell {name}, beyond the edge {edge}",
                          shifted(wall, taps, edge), (1 - part, part))  # fmt: skip
    if wall.rows > 1:
        square = {(x, y): 0.25 for x in (0, 1) for y in (0, 1)}
        yield Mixture("means of 2 × 2 cells", shifted(wall, square, "own"), (0.25,))
        box = {(x, y): 1 / 9 for x in (-1, 0, 1) for y in (-1, 0, 1)}
        yield Mixture("means of 3 × 3 cells", shifted(wall, box, "own"), (1 / 9,))
        cross = {(0, 0): 1 - 0.8 * part, (1, 0): part / 5, (-1, 0): part / 5,
                 (0, 1): part / 5, (0, -1): part / 5}  # fmt: skip
        yield Mixture("blurred crosswise", shifted(wall, cross, edge), (1 - 0.8 * part, part / 5))
    soft = {(0, 0): 0.5, (1, 0): 0.25, (-1, 0): 0.25}
    yield Mixture("blurred along the rows", shifted(wall, soft, edge), (0.5, 0.25))
    for on in (1, -1):
        yield Mixture(f"{part:.0%} of the LED {on} on along the wire",
                      along(wall, {0: 1 - part, on: part}), (1 - part, part))  # fmt: skip
    if wall.columns > 2:
        factor = float(random.choice([0.7, 0.8, 0.9]))
        yield Mixture(f"drawn {factor} as wide", resampled(wall, factor), ())


def some(wall: Wall, mixture: Mixture, random: np.random.Generator) -> Mixture:
    """The mixture on one line, or on some rows; the other LEDs show their own cells."""
    line, row = np.zeros(wall.leds, int), wall.cells[:, 1]
    for number, begin in enumerate(wall.bounds[:-1].tolist()):
        line[begin:] = number
    if len(wall.bounds) > 2:
        chosen = int(random.integers(len(wall.bounds) - 1))
        leds, where = line == chosen, f"line {chosen}"
    else:
        rows = np.flatnonzero(random.random(wall.rows) < 0.4)
        rows = rows if rows.size else np.array([0])
        leds, where = np.isin(row, rows), f"rows {rows.tolist()}"
    own = shifted(wall, {(0, 0): 1.0}, "own")
    shares = np.where(leds[:, None], mixture.shares, own)
    return Mixture(f"{mixture.truth}, on {where} only", shares, mixture.figures)


def mixed(
    wall: Wall, shares: Array, domain: str, noise: int, seed: int
) -> Callable[[Array], list[bytes]]:
    """Code that mixes light, drives or levels, and adds noise to the drives."""
    random = np.random.default_rng(seed)

    def to_wire(picture: Array) -> list[bytes]:
        codes = picture.reshape(-1, 3)
        if domain == "levels":
            drives = wall.light(np.rint(shares @ codes)) * 255
        elif domain == "light":
            drives = shares @ (wall.light(codes) * 255)
        else:
            drives = shares @ np.rint(wall.light(codes) * 255)
        drives = np.rint(drives)
        if noise:
            drives = drives + random.integers(-noise, noise + 1, drives.shape)
        return wall.frames(drives.astype(int))

    return to_wire


def lies(case: Case, report: Report) -> list[str]:
    """Any statement about colours, levels or the map, except on the mixture and the noise."""
    true = (EXPLAINED, UNKNOWN, NOISE, *case.notes["true"])
    loud = [f for f in report.findings if f["severity"] in ("fault", "warning")]
    loud = [f for f in loud if not (
        NEITHER(f["what"]) and int(re.match(r"\d+", f["evidence"])[0]) <= case.wrong.sum()
    )]  # fmt: skip
    out = [f"{f['what']} | {f['evidence']}" for f in loud if not any(t(f["what"]) for t in true)]
    for f in loud:
        told = [float(n) / 100 for n in re.findall(r"(\d+) ?% of", f["what"])]
        if EXPLAINED(f["what"]) and case.notes["figures"]:
            known = np.array(case.notes["figures"])
            out += [f"{t:.0%} is not a share | {f['what']}" for t in told
                    if np.abs(known - t).min() > 0.03]  # fmt: skip
    return out


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    random = np.random.default_rng(SEED)
    made: list[Case] = []

    def add(kind: str, wall: Wall, mixture: Mixture, domain: str, noise: int) -> None:
        own = shifted(wall, {(0, 0): 1.0}, "own")
        wrong = np.abs(mixture.shares - own).max(axis=1) > 1e-9
        known = np.unique(mixture.shares[wrong].round(4)) if wrong.any() else np.zeros(0)
        named: tuple[Said, ...] = (NOISE,) if kind == "noise" else (EXPLAINED,)
        if noise < 2 and kind != "noise":  # with more the answers are not steady, and say so
            named = (*named, *(share(figure, 0.02) for figure in mixture.figures))
        elif kind != "noise":
            named = (NOISE,)
        seed = len(made)
        made.append(Case(
            kind, wall, f"{mixture.truth}, in {domain}, noise of ±{noise}",
            lambda: mixed(wall, mixture.shares, domain, noise, seed), named, wrong=wrong,
            lies=lies, only="timing,map,colour,levels",
            notes={"figures": tuple(known[known > 0].tolist()), "true": (), "noise": noise},
            exits=(0, 1) if kind == "noise" and noise == 1 else (1,),
        ))  # fmt: skip

    for wall in WALLS:
        for mixture in mixtures(wall, random):
            domain = str(random.choice(["levels", "light", "drives"]))
            add("whole wall", wall, mixture, domain, 0)
            if random.random() < 0.5:
                add("a part", wall, some(wall, mixture, random), domain, 0)
            noise = int(random.integers(1, 4))
            add("with noise", wall, mixture, domain, noise)
        own = Mixture("its own cell", shifted(wall, {(0, 0): 1.0}, "own"), ())
        for noise in (1, 2, 3, 4):
            add("noise", wall, own, "light", noise)
    return tuple(made)
