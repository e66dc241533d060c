"""Chips in a chain, simulated one after the other, bit by bit.

WS2812B datasheet, Worldsemi: a chip keeps the first 24 bits after a reset, passes the rest on
with its own timing, and shows what it has latched until the next reset after new data. Others
alike, with as many bits as they have channels. APA102: the first word that begins with three ones
after the 32 zero bits; WS2801: the first three bytes; LPD8806: the first three bytes with a high
bit. A chip tells bits by how long they are high, from midway between the two tolerances on (an
assumption that foreglow states, too). A chip that gets part of its bits keeps what it shows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tests.outside.generated_faults.walls import ONE_WIRE, Wall, order_of

Bit = tuple[int, int]  # its value at the sender; how long it is high, in ns


@dataclass
class Led:
    """One LED of a chain as built.

    place: the number, as planned, of the LED that should sit where it does; None for one too many.
    """

    place: int | None
    part: str
    order: str
    swallows: bool = False
    dark: bool = False
    open_before: bool = False
    open_behind: bool = False
    joined: bool = False
    shows: dict[str, int] = field(default_factory=dict)  # drives of its own channels


Fault = dict[str, Any]  # its kind and its parameters


def built(wall: Wall, faults: list[Fault]) -> list[list[Led]]:
    """The chain of LEDs on each output of the controller."""
    blocks: dict[int, list[Led]] = {
        n: [Led(place, wall.part, wall.order) for place in run] for n, run in enumerate(wall.runs)
    }
    of_line = [[n for n, run in enumerate(wall.runs) if run[0] in line] for line in wall.lines]
    by_place = {led.place: led for run in blocks.values() for led in run}

    def at(fault: Fault, key: str = "led") -> Led:
        return by_place[wall.lines[fault.get("line", 0)][fault[key]]]

    for f in faults:  # strip: the LED at its planned place
        kind = f["kind"]
        if kind == "led-dark":
            at(f).dark = True
        elif kind == "led-swallows":
            at(f).swallows = True
            at(f).dark = not f.get("lit", False)
        elif kind == "led-joined":
            at(f).joined = True
        elif kind == "other-chip":
            for n in range(f["first"], f["last"] + 1):
                led = by_place[wall.lines[f.get("line", 0)][n]]
                led.part, led.order = f["chip"], order_of(f["chip"])
        elif kind == "data-open":
            if f["after"] >= 0:
                at(f, "after").open_behind = True
            else:
                by_place[wall.lines[f.get("line", 0)][0]].open_before = True
        elif kind == "against-arrow":
            blocks[f["run"]][0].open_before = True

    for f in faults:  # wiring, within a run
        kind = f["kind"]
        if kind == "led-extra":
            line = wall.lines[f.get("line", 0)]
            beside = by_place[line[max(f["after"], 0)]]
            run = next(r for r in blocks.values() if beside in r)
            run.insert(run.index(beside) + (f["after"] >= 0), Led(None, wall.part, wall.order))
    for f in faults:
        if f["kind"] == "run-reversed":
            run = blocks[f["run"]]
            for led, place in zip(run, [x.place for x in run][::-1], strict=True):
                led.place = place
    for f in faults:
        if f["kind"] == "run-long":
            run = blocks[f["run"]]
            run += [Led(None, wall.part, wall.order) for _ in range(f.get("leds", 1))]
        if f["kind"] == "run-short":
            run = blocks[f["run"]]
            del run[len(run) - f.get("leds", 1) :]
        if f["kind"] == "led-missing":
            gone = at(f)
            for run in blocks.values():
                if gone in run:
                    run.remove(gone)
    for f in faults:
        if f["kind"] == "runs-exchanged":
            a, b = f["run"], f["other"]
            blocks[a], blocks[b] = blocks[b], blocks[a]
    chains = [[led for n in runs for led in blocks[n]] for runs in of_line]
    for f in faults:
        if f["kind"] == "other-corner":
            _mirror(wall, chains[f.get("line", 0)], f["corner"])
    for f in faults:
        if f["kind"] == "outputs-exchanged":
            a, b = f.get("line", 0), f["other"]
            chains[a], chains[b] = chains[b], chains[a]
    return chains


def _mirror(wall: Wall, chain: list[Led], corner: str) -> None:
    """Moves the LEDs of a line so that its first one is in another corner of its area."""
    wiring = wall.display.wiring
    spots = {
        led.place: (int(wiring.column[led.place]), int(wiring.row[led.place])) for led in chain
    }
    columns = [c for c, _ in spots.values()]
    rows = [r for _, r in spots.values()]
    first = spots[chain[0].place]
    goal = (
        min(columns) if "left" in corner else max(columns),
        min(rows) if "top" in corner else max(rows),
    )
    place_at = {spot: place for place, spot in spots.items()}
    for led in chain:
        c, r = spots[led.place]
        if first[0] != goal[0]:
            c = min(columns) + max(columns) - c
        if first[1] != goal[1]:
            r = min(rows) + max(rows) - r
        led.place = place_at[c, r]


def to_bits(data: bytes, part: str, stretch: float = 1.0) -> list[Bit]:
    zero, one = ONE_WIRE[part][:2]
    return [
        (b >> k & 1, round((one if b >> k & 1 else zero) * stretch))
        for b in data
        for k in range(7, -1, -1)
    ]


def play(chain: list[Led], wire: list[Bit] | bytes) -> None:
    """One frame and its latch: each LED takes its bits and passes on the rest."""
    taken: dict[int, dict[str, int]] = {}
    coming: list[Bit] | bytes | None = wire  # None: no data on this piece of the wire
    before = coming
    for n, led in enumerate(chain):
        if led.joined and n:  # solder to the input of the LED before, whatever that LED does
            coming = before
        if led.open_before:
            coming = None
        before = coming
        if coming is None:
            continue
        got, rest = _take_bits(led, coming) if isinstance(coming, list) else _take(led, coming)
        if got is not None:
            taken[n] = got
        coming = None if led.swallows or led.open_behind else rest
    for n, got in taken.items():
        chain[n].shows = got


def _take_bits(led: Led, bits: list[Bit]) -> tuple[dict[str, int] | None, list[Bit]]:
    zero, one, zero_most, one_least, _ = ONE_WIRE[led.part]
    threshold = (zero_most + one_least) // 2
    values = [int(high >= threshold) for _, high in bits]
    size = 8 * len(led.order)
    rest = [(v, one if v else zero) for v in values[size:]]
    if len(values) < size:
        return None, []
    numbers = [int("".join(map(str, values[k : k + 8])), 2) for k in range(0, size, 8)]
    return dict(zip(led.order, numbers, strict=True)), rest


def _take(led: Led, data: bytes) -> tuple[dict[str, int] | None, bytes]:
    if "I" in led.order:
        at = 4
        if len(data) < at + 4 or data[at] < 0xE0:
            return None, data
        word = [data[at] & 31, *data[at + 1 : at + 4]]
        return dict(zip(led.order, word, strict=True)), data[:at] + data[at + 4 :]
    word = list(data[:3])
    if len(word) < 3 or (led.part == "LPD8806" and min(word) < 0x80):
        return None, b""
    if led.part == "LPD8806":
        word = [(b & 127) << 1 | (b & 127) >> 6 for b in word]
    return dict(zip(led.order, word, strict=True)), data[3:]


def frame(wall: Wall, drives: Any, line: int) -> bytes:
    """The bytes of one line, by the datasheets of the chips."""
    words = [
        [int(drives[led][wall.channels.index(c)]) for c in wall.order] for led in wall.lines[line]
    ]
    flat = bytes(v for word in words for v in word)
    if "I" in wall.order:
        marked = bytes(v | 0xE0 if k % 4 == 0 else v for k, v in enumerate(flat))
        return bytes(4) + marked + bytes(max(4, -(-len(words) // 16)))
    if wall.part == "LPD8806":
        return bytes(0x80 | v >> 1 for v in flat) + bytes(-(-len(words) // 32))
    return flat
