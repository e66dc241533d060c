"""Walls with LEDs without a cell, lines in turn and LEDs in series; code right and wrong.

The words are those of `emulator/description/README.md`. Frame times by our own arithmetic: LEDs ×
channels × 8 × the nominal bit of the datasheet, of the longest line or, in turn, of all lines.
Currents: every LED, hidden ones too, draws its quiescent current; those with a cell their channels.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np

from tests.outside.generated.run import Report
from tests.outside.generated.walls import Array
from tests.outside.generated.words import Said, both, either, has
from tests.outside.generated_physical.run import folder, foreglow
from tests.outside.generated_ways.cases import Case
from tests.outside.generated_ways.walls import NOMINAL_US, ONE_WIRE, Hiding, Wall, draw

SEED = 1303
PARTS = ("WS2812B", "SK6812", "SK6812-RGBW", "WS2811-LOW", "WS2811-HIGH")


def frame_ms(wall: Wall, in_turn: bool) -> tuple[float, float]:
    """(time of the data, the rest after it) of a frame."""
    lines = [len(line) * wall.channels * 8 * NOMINAL_US[wall.part] / 1e3 for line in wall.wired]
    return (sum(lines) if in_turn else max(lines)), ONE_WIRE[wall.part][4] / 1e3


def time_lies(wall: Wall, in_turn: bool) -> Callable[[Report], list[str]]:
    def lies(report: Report) -> list[str]:
        said = report.figures.get("wire", {})
        data_ms, rest_ms = frame_ms(wall, in_turn)
        truth = {"wire_ms": data_ms, "reset_ms": rest_ms}
        out = [f"{k} is {v:.4f}, not {said.get(k)}" for k, v in truth.items()
               if abs(said.get(k, -1) - v) > 2e-3 * v + 1e-4]  # fmt: skip
        rate = said.get("fastest_frames_per_s", 0)
        whole = 1e3 / (data_ms + rest_ms)
        if in_turn:  # the last line needs its rest; those before have had theirs
            longest = 1e3 / (data_ms + rest_ms * wall.lines)
            if not longest * 0.99 <= rate <= 1.01e3 / data_ms:
                out.append(f"the rate is {longest:.1f} to {1e3 / data_ms:.1f}, not {rate}")
        elif abs(rate / whole - 1) > 5e-3:
            out.append(f"the rate is {whole:.1f}, not {rate}")
        return out

    return lies


def lit_lies(wall: Wall, lit: list[int]) -> Callable[[Report], list[str]]:
    """The figures of the map: which hidden LEDs are lit."""

    def lies(report: Report) -> list[str]:
        said = report.figures.get("map", {}).get("hidden_lit")
        if said is None:
            return ["no figure hidden_lit"]
        return [] if len(said) == len(lit) else [f"hidden LEDs lit: {lit}, not {said}"]

    return lies


def to_wire(
    wall: Wall, change: Callable[[Array, Array], Array] | None = None
) -> Callable[[Array], bytes]:
    def fill(picture: Array) -> bytes:
        drives = wall.gather(picture)
        return b"".join(wall.payload(drives if change is None else change(drives, picture)))

    return fill


def _hiding(rng: np.random.Generator) -> Hiding:
    while True:
        first, between, last = (int(k) for k in rng.choice([0, 0, 1, 2, 3], 3))
        one = Hiding(first, between, last, bool(rng.random() < 0.4))
        if one.any:
            return one


def _right(n: int, rng: np.random.Generator) -> Case:
    in_turn = n % 2 == 1
    extra = '[controller]\nsends_lines = "in turn"\n' if in_turn else ""
    wall = draw(rng, part=PARTS[n % 5], hiding=_hiding(rng), lines=1 + n % 3, extra=extra,
                style=("words", "runs", "map")[n % 3 if n < 6 else (n + 1) % 3])  # fmt: skip
    how: tuple[str, ...] = ("--call",)
    build: Callable[[], Any] = lambda: to_wire(wall)  # noqa: E731
    if n % 4 == 1:
        how = ("--leds",)

        def build() -> Any:
            def fill(leds: Any, picture: Array) -> None:
                for number in np.flatnonzero(~wall.hidden).tolist():
                    leds[number] = wall.gather(picture)[number].tolist()

            return fill

    kind = "right" + (", in turn" if in_turn else "")
    return Case(kind, wall, "right", how, build, quiet=True, figures=time_lies(wall, in_turn))


def _map(n: int, rng: np.random.Generator) -> Case:
    """Their CSV map, right, with -1 for hidden LEDs."""
    wall = draw(rng, part=PARTS[n % 5], hiding=_hiding(rng), lines=2)
    rows = [f"{line},{k},{c},{r}" for line, cells in enumerate(wall.wired)
            for k, (c, r) in enumerate(cells)]  # fmt: skip
    return Case("right map", wall, "right", ("--map", "theirs.csv"), quiet=True,
                files={"theirs.csv": "line,led,column,row\n" + "\n".join(rows) + "\n"})  # fmt: skip


def _forgets(wall: Wall, at: list[int], truth: str, *named: Said) -> Case:
    """Code that does not know of the hidden LEDs `at`: what follows on their line comes early."""
    shown = wall.cells.copy()
    for a, b in pairwise(wall.bounds.tolist()):
        kept = [k for k in range(a, b) if k not in at]
        shown[a:b] = -1
        shown[a : a + len(kept)] = wall.cells[kept]
    wrong = np.asarray((shown != wall.cells).any(axis=1))

    def fill(leds: Any, picture: Array) -> None:
        leds[:] = wall.gather(picture, shown)

    lit = np.flatnonzero(wall.hidden & (shown[:, 0] >= 0)).tolist()
    return Case("forgotten", wall, truth, ("--leds",), lambda: fill, named=named, wrong=wrong,
                blamed=("map",), figures=lit_lies(wall, lit))  # fmt: skip


def _forgets_first(n: int, rng: np.random.Generator) -> Case:
    wall = draw(rng, part=PARTS[n % 5], hiding=Hiding(first=1 + n % 2), lines=1 + n % 2)
    first = [int(a) + k for a in wall.bounds[:-1] for k in range(1 + n % 2)]
    return _forgets(wall, first, "the code does not know of the hidden first LEDs",
                    both(has("no cell|hidden|without a cell"), has("LED")))  # fmt: skip


def _forgets_between(n: int, rng: np.random.Generator) -> Case:
    wall = draw(rng, part=PARTS[n % 5], hiding=Hiding(between=1), lines=1, size=(7, 5))
    at = np.flatnonzero(wall.hidden).tolist()
    return _forgets(wall, at, f"the code does not know of hidden LEDs {at}",
                    both(has("no cell|hidden|without a cell"), has(rf"\b{at[0]}\b")))  # fmt: skip


def _forgets_corner(n: int, rng: np.random.Generator) -> Case:
    wall = draw(rng, part=PARTS[n % 5], hiding=Hiding(in_gap=True), lines=1, size=(9, 6))
    at = np.flatnonzero(wall.hidden).tolist()
    return _forgets(wall, at, f"the code does not know of LEDs {at} behind the gap",
                    both(has("no cell|hidden|without a cell"), has(rf"\b{at[0]}\b")))  # fmt: skip


def _lights(n: int, rng: np.random.Generator) -> Case:
    """A hidden LED shows a cell, a colour of its own, or is always white."""
    hiding = (Hiding(first=1), Hiding(last=2), Hiding(between=1), Hiding(in_gap=True))[n % 4]
    wall = draw(rng, part=PARTS[n % 5], hiding=hiding, lines=1 + n % 2, size=(8, 6))
    led = int(rng.choice(np.flatnonzero(wall.hidden)))
    line, place = wall.names(led)
    cell = (int(rng.integers(1, 3)), int(rng.integers(0, 1)))
    always = n % 3 == 2

    def change(drives: Array, picture: Array) -> Array:
        drives[led] = (200, 200, 200) if always else wall.gather(picture, np.array([cell]))[0]
        return drives

    wrong = np.arange(wall.leds) == led
    what = "always lit" if always else f"shows column {cell[0]}, row {cell[1]}"
    is_it = either(has(rf"\bLED {place}\b"), has(rf"\bLEDs {place}\b"))
    on = has(".") if wall.lines == 1 else has(rf"line {line}\b")
    return Case("hidden lit", wall, f"line {line}, LED {place} is hidden and {what}", ("--call",),
                lambda: to_wire(wall, change), named=(both(has("no cell|hidden"), is_it, on),),
                wrong=wrong, figures=lit_lies(wall, [led]))  # fmt: skip


def _map_leaves_out(n: int, rng: np.random.Generator) -> Case:
    """Their CSV map numbers only the LEDs that have a cell."""
    wall = draw(rng, part=PARTS[n % 5], hiding=Hiding(first=1, last=n % 2), lines=1)
    cells = wall.cells[~wall.hidden].tolist()
    rows = [f"0,{k},{c},{r}" for k, (c, r) in enumerate(cells)]
    return Case("map leaves out", wall, "the map does not count the hidden LEDs",
                ("--map", "theirs.csv"), exits=(1, 2),
                files={"theirs.csv": "line,led,column,row\n" + "\n".join(rows) + "\n"},
                named=(both(has("no cell|hidden|without a cell"), has("LED")),))  # fmt: skip


def _too_slow(n: int, rng: np.random.Generator) -> Case:
    """In turn the lines together are too slow for the rate; together they are fast enough."""
    in_turn = n % 2 == 0
    wall = draw(rng, part="WS2812B", style="words", hiding=Hiding(first=1), lines=3, size=(12, 9))
    data_ms, rest_ms = frame_ms(wall, True)
    one_ms, _ = frame_ms(wall, False)
    rate = round(
        1e3 / (data_ms + 3 * rest_ms) * 1.3 if in_turn else 1e3 / (one_ms + rest_ms) * 0.95, 1
    )
    how = '"in turn"' if in_turn else '"together"'
    extra = f"[controller]\nsends_lines = {how}\nframe_rate = {rate}\n"
    wall = draw(rng, part="WS2812B", style="words", hiding=Hiding(first=1), lines=3, size=(12, 9),
                extra=extra)  # fmt: skip
    if in_turn:
        return Case("too slow in turn", wall, f"{rate} frames/s are too many", ("--call",),
                    lambda: to_wire(wall), named=(has(r"frames?/s|frame rate|rate"),),
                    blamed=("wire", "timing"), figures=time_lies(wall, True))  # fmt: skip
    return Case("fast enough together", wall, f"{rate} frames/s are possible", ("--call",),
                lambda: to_wire(wall), quiet=True, figures=time_lies(wall, False))  # fmt: skip


def _power(n: int, rng: np.random.Generator) -> Case:
    """In series: the current of one chip, at the sum of the forward voltages."""
    in_series = (1, 3)[n % 2]
    extra = "in_series = 3\nvolts = 12\n" if in_series == 3 else ""
    wall = draw(rng, part="WS2811-HIGH", hiding=Hiding(first=1), size=(6, 4), lines=1)
    toml = wall.toml.replace("[chip]\n", f"[chip]\n{extra}")
    shown = int((~wall.hidden).sum())

    def own(case: Case) -> tuple[bool, bool, list[str], str]:
        with folder() as at:
            (at / "wall.toml").write_text(toml)
            for name, text in wall.files.items():
                (at / name).write_text(text)
            answer = foreglow("power", "wall.toml", "--json")
        begin = answer.out.find("{")
        if begin < 0:
            return False, False, [answer.out + answer.err], answer.out
        white, _ = json.JSONDecoder().raw_decode(answer.out[begin:])
        asked = white["white"]["asked_a"]
        truth = (shown * 60 + wall.leds * 1) / 1e3  # 20 mA a channel, 1 mA a chip: `foreglow chips`
        lies = [] if abs(asked - truth) < 1e-6 else [f"full white asks {truth} A, not {asked}"]
        return not lies, True, lies, f"asked {asked}"

    return Case(f"power, {in_series} in series", wall, "the current of one chip each", own=own,
                quiet=True)  # fmt: skip


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    rng = np.random.default_rng(SEED)
    made = [_right(n, rng) for n in range(12)] + [_map(n, rng) for n in range(3)]
    for make, count in (
        (_forgets_first, 4), (_forgets_between, 3), (_forgets_corner, 3), (_lights, 8),
        (_map_leaves_out, 2), (_too_slow, 4), (_power, 2),
    ):  # fmt: skip
        made += [make(n, rng) for n in range(count)]
    return tuple(made)
