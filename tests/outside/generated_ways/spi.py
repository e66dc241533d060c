"""Programs written for the module spidev, right and wrong, at free and odd speeds.

The times of one-wire bits follow from the speed that the controller's divider gives (the divisors
as `emulator/ports/spi/README.md` states them, rounded to the slower side) and the datasheets of the
chips (`walls.py`). The calls are those of the documentation of spidev 3.8; from the kernel's
documentation (spidev.rst, spi-summary.rst; from memory): a message of more than `bufsiz` = 4096
bytes fails, modes, and EINVAL for what a controller cannot do.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np

from tests.outside.generated.words import Said, both, either, has
from tests.outside.generated_physical.run import folder, foreglow
from tests.outside.generated_ways.cases import Case
from tests.outside.generated_ways.walls import ONE_WIRE, Hiding, Wall, draw

SEED = 1302
CLOCKS = {  # Hz, and what it is divided by
    "bcm2835": (250e6, "even"), "bcm2711": (500e6, "even"), "omap2": (48e6, "whole"),
    "sun6i": (24e6, "even"),
}  # fmt: skip


def real_hz(controller: str, asked: float) -> float:
    """The speed that the controller gives: never faster than asked, where it can."""
    if controller == "exact":
        return asked
    clock, divides = CLOCKS[controller]
    step = 2 if divides == "even" else 1
    return clock / (step * max(1, math.ceil(round(clock / asked / step, 9))))


def fits(part: str, hz: float, bits: int, high: tuple[int, int], spare: float = 0) -> bool:
    """Whether 0 and 1 with so many high SPI bits are inside the tolerance, with this margin."""
    t = 1e9 / hz
    times = (high[0] * t, (bits - high[0]) * t, high[1] * t, (bits - high[1]) * t)
    return all(a * (1 + spare) <= time <= b * (1 - spare)
               for time, (a, b) in zip(times, ONE_WIRE[part][:4], strict=True))  # fmt: skip


def highs(part: str, hz: float, bits: int, spare: float = 0) -> tuple[int, int] | None:
    """High SPI bits of 0 and of 1 that suit the chip."""
    for high in product(range(1, bits), range(1, bits)):
        if high[0] < high[1] and fits(part, hz, bits, high, spare):
            return high
    return None


SHOW = """import json
import sys
import time

import spidev

CELLS = {cells}
ORDER, PART, BITS, HIGH = {order!r}, {part!r}, {bits}, {high}
CURVE = [round(255 * (v / 255 / 12.92 if v <= 10 else ((v / 255 + 0.055) / 1.055) ** 2.4))
         for v in range(256)]  # IEC 61966-2-1; 10 / 255 is below its 0.04045
REST = bytes({rest})  # zeros for the reset time


def payload(rgb, columns):
    out = bytearray()
    for column, row in CELLS:
        k = 3 * (row * columns + column)
        r, g, b = ({{"sRGB": CURVE[v], "linear": v}}[{curve!r}] for v in rgb[k:k + 3])
        values = {{"R": r, "G": g, "B": b, "W": 0}}
        out += bytes([255] if PART in ("APA102", "SK9822") else [])
        out += bytes(values[c] for c in ORDER)
    if PART in ("APA102", "SK9822"):
        return bytes(4) + bytes(out) + bytes(4 + len(CELLS) // 16)
    if PART == "LPD8806":
        return bytes(128 | round(v / 255 * 127) for v in out) + bytes(len(CELLS) // 32 + 1)
    return bytes(out)


def encode(data):
    if not BITS:
        return data
    zero, one = ("1" * h + "0" * (BITS - h) for h in HIGH)
    table = ["".join(one if v >> k & 1 else zero for k in range(7, -1, -1)) for v in range(256)]
    text = "".join(table[v] for v in data)
    return int(text, 2).to_bytes(len(text) // 8, "big")


{setup}
for line in {frames}:
    asked = json.loads(line)
    data = encode(payload(bytes.fromhex(asked["rgb"]), asked["columns"]))
{send}
"""

OPENED = """spi = spidev.SpiDev()
spi.open(0, 0)
spi.max_speed_hz = {hz}"""
SETUPS = [
    OPENED,
    "spi = spidev.SpiDev(0, 0)\nspi.mode = 0b00\nspi.max_speed_hz = {hz}",
    "spi = spidev.SpiDev()\nspi.open_path('/dev/spidev0.0')\nspi.max_speed_hz = int({hz})",
    OPENED + "\nspi.bits_per_word = 8\nspi.lsbfirst = False\nspi.cshigh = False",
    OPENED + "\nspi.no_cs = True",
    "spi = spidev.SpiDev().__enter__()\nspi.open(bus=0, device=0)\nspi.max_speed_hz = {hz}",
]
SENDS = [
    "spi.xfer2(list(data + REST))",
    "spi.xfer(list(data + REST))",
    "spi.xfer3(list(data + REST))",
    "spi.writebytes(list(data + REST))",
    "spi.writebytes2(data + REST)",
    "spi.writebytes2(bytearray(data + REST))",
    "spi.writebytes2(list(data + REST))",
    "spi.xfer2(tuple(data + REST))",
    "spi.xfer2(list(data + REST), {hz})",
    "spi.xfer2(list(data + REST), {hz}, 0, 8)",
    "spi.xfer2(list(REST + data + REST))",
    "spi.close()\nspi.open(0, 0)\nspi.max_speed_hz = {hz}\nspi.writebytes(list(data + REST))",
]


@dataclass(frozen=True)
class Program:
    """What a program is made of."""

    hz: int
    bits: int = 0  # of an LED bit; 0: a chip with a clock
    high: tuple[int, int] = (0, 0)
    controller: str = "bcm2835"
    setup: str = OPENED
    send: str = SENDS[0]
    options: str = ""  # further ones of the address
    cells: tuple[tuple[int, int], ...] | None = None
    order: str = ""
    rest_us: float = 0  # of zeros; 0: what the chip needs and a tenth more
    frames: str = "sys.stdin"


def text(wall: Wall, of: Program) -> str:
    """The program."""
    hz = real_hz(of.controller, of.hz)
    reset_us = ONE_WIRE[wall.part][4] if of.bits else 0
    rest = math.ceil((of.rest_us or reset_us * 1.1) * 1e-6 * hz / 8)
    send = "\n".join("    " + line for line in of.send.replace("{hz}", str(of.hz)).splitlines())
    cells = of.cells or tuple((int(c), int(r)) for c, r in wall.cells)
    return SHOW.format(
        cells=[tuple(c) for c in cells], order=of.order or wall.order, part=wall.part, bits=of.bits,
        high=of.high, rest=rest, curve="linear" if wall.linear else "sRGB",
        setup=of.setup.replace("{hz}", str(of.hz)), send=send, frames=of.frames,
    )  # fmt: skip


def _case(kind: str, wall: Wall, truth: str, of: Program, *named: Said, quiet: bool = False,
          exits: tuple[int, ...] = (1,), blamed: tuple[str, ...] = ()) -> Case:  # fmt: skip
    address = f"spi:?controller={of.controller}{of.options}"
    return Case(kind, wall, truth,
                ("--program", f"{sys.executable} show.py", "--spi", "--address", address),
                files={"show.py": text(wall, of)}, quiet=quiet, named=named, exits=exits,
                blamed=blamed)  # fmt: skip


def _wall(rng: np.random.Generator, part: str, size: tuple[int, int] = (6, 4)) -> Wall:
    return draw(rng, part=part, lines=1, size=size, style="words", hiding=Hiding())


def _suited(rng: np.random.Generator, part: str, bits: int, odd: bool,
            controller: str = "") -> Program:  # fmt: skip
    """A speed that suits the chip with so many SPI bits: a usual one, or an odd one."""
    for _ in range(20000):
        at = controller or str(rng.choice([*CLOCKS, "exact"]))
        usual = {3: 2_400_000, 4: 3_200_000, 5: 4_000_000, 8: 6_400_000}[bits]
        usual //= 2 if part == "WS2811-LOW" else 1
        hz = int(rng.integers(usual * 0.45, usual * 1.3)) if odd else usual
        high = highs(part, real_hz(at, hz), bits, 0.005)
        if high:
            return Program(hz, bits, high, at)
        if not odd:
            odd = True
    raise ValueError(f"no speed suits {part} with {bits} bits")


def _rights(rng: np.random.Generator) -> list[Case]:
    made = []
    pairs = [("WS2812B", 3), ("WS2812B", 4), ("WS2812B", 5), ("WS2812B", 8), ("SK6812", 4),
             ("SK6812", 8), ("SK6812-RGBW", 4), ("WS2812B-V5", 4), ("WS2812B-V5", 5),
             ("WS2815", 8), ("WS2813B", 4), ("WS2811-HIGH", 5), ("WS2811-LOW", 8),
             ("WS2811-LOW", 4)]  # fmt: skip
    for n, (part, bits) in enumerate(pairs):
        found = _suited(rng, part, bits, odd=n % 2 == 1)
        setup, send = SETUPS[n % len(SETUPS)], SENDS[n % len(SENDS)]
        options = "&idle=low" if n % 3 == 0 else ""
        of = Program(found.hz, bits, found.high, found.controller, setup, send, options)
        hz = real_hz(of.controller, of.hz)
        truth = f"right: {bits} bits at {hz / 1e6:.4f} MHz, {of.high} high, {of.controller}, {send}"
        made.append(_case("right one-wire", _wall(rng, part), truth, of, quiet=True))
    for n, (part, hz) in enumerate(
        [("APA102", 8_000_000), ("SK9822", 1_234_567), ("LPD8806", 2_000_000), ("APA102", 500_000)]
    ):
        of = Program(hz, setup=SETUPS[n], send=SENDS[n].replace(" + REST", ""))
        made.append(_case("right clocked", _wall(rng, part), f"right: {hz} Hz", of, quiet=True))
    of = Program(1_000_000, send="spi.writebytes2(data)\ntime.sleep(0.002)")
    made.append(
        _case("right clocked", _wall(rng, "WS2801"), "right: it pauses 2 ms", of, quiet=True)
    )
    of = Program(6_400_000, 8, (2, 5), "exact", send="spi.xfer2(list(REST + data + REST))",
                 options="&idle=high")  # fmt: skip
    made.append(_case("right, idle high", _wall(rng, "WS2812B"),
                      "right: zeros of the rest before and after", of, quiet=True))  # fmt: skip
    of = Program(2_400_000, 3, (1, 2), setup=OPENED + "\nspi.mode = 1")
    made.append(_case("right, mode 1", _wall(rng, "WS2812B"), "right: no clock to a one-wire chip",
                      of, quiet=True))  # fmt: skip
    # 15 × 12 LEDs are 4320 bytes at 8 bits; 4096 bytes end with a whole LED bit
    of = Program(6_400_000, 8, (2, 5), "exact", send="spi.writebytes2(data + REST)",
                 options="&bufsiz=65536")  # fmt: skip
    made.append(_case("right, bufsiz", _wall(rng, "WS2812B", (15, 12)), "right: one long message",
                      of, quiet=True))  # fmt: skip
    return made


TIMING = has(r"\d ns|too (long|short)|tolerance|MHz")


def _speeds(rng: np.random.Generator) -> list[Case]:
    """Bits that are too long or too short, by our own arithmetic."""
    made = []
    for n, (part, bits) in enumerate(
        [("WS2812B", 3), ("SK6812", 4), ("WS2812B-V5", 5), ("WS2812B", 8), ("WS2811-HIGH", 4)]
    ):
        found = _suited(rng, part, bits, odd=False, controller="exact")
        for factor in rng.permutation([0.6, 0.7, 1.35, 1.5, 1.8]):
            hz = int(found.hz * factor)
            clear = not fits(part, hz, bits, found.high, -0.08)
            if clear:
                break
        of = Program(hz, bits, found.high, "exact", SETUPS[n % 3], SENDS[n])
        truth = f"{bits} bits, {found.high} high, at {hz / 1e6:.3f} MHz are outside {part}"
        made.append(_case("speed", _wall(rng, part), truth, of, TIMING, exits=(1, 2)))
    # 2.6 MHz is possible with 3 bits; sun6i gives 2.4, which is right; 4.2 MHz asked gives 4
    of = Program(4_200_000, 3, (1, 2), "sun6i")
    made.append(_case("speed", _wall(rng, "WS2812B"), "3 bits at 4 MHz: 0 and 1 are too short", of,
                      TIMING, exits=(1, 2)))  # fmt: skip
    of = Program(6_400_000, 3, (1, 2))
    made.append(_case("SPI bits and speed", _wall(rng, "WS2812B"), "3 bits at the speed for 8", of,
                      TIMING, exits=(1, 2)))  # fmt: skip
    of = Program(31_000_000)
    made.append(_case("clock too fast", _wall(rng, "APA102"), "31 MHz asked, 250 / 10 = 25 given: "
                      "more than 20", of, has(r"25(\.0+)? MHz|fast")))  # fmt: skip
    return made


def _lengths(rng: np.random.Generator) -> list[Case]:
    """180 LEDs with 8 bits are 4320 bytes: more than bufsiz."""
    made = []
    size = (15, 12)
    for send in ("spi.xfer2(list(data + REST))", "spi.writebytes(list(data + REST))",
                 "spi.xfer(list(data + REST))"):  # fmt: skip
        of = Program(6_400_000, 8, (2, 5), "exact", send=send)
        made.append(_case("too long", _wall(rng, "WS2812B", size), f"4320 bytes by {send}", of,
                          has("4096"), exits=(1, 2)))  # fmt: skip
    split = both(has(r"gap|pause|split|two|transfers|messages"), has(r"reset|rest|LED 0|latch|µs"))
    for send in ("spi.writebytes2(data + REST)", "spi.xfer3(list(data + REST))"):
        of = Program(6_400_000, 8, (2, 5), "exact", send=send)
        made.append(_case("split by bufsiz", _wall(rng, "WS2812B", size),
                          f"4096 bytes, 100 µs of gap, the rest; 50 µs end a frame; {send}", of,
                          split))  # fmt: skip
    of = Program(2_400_000, 3, (1, 2), send="half = len(data) // 18 * 9\n"
                 "spi.xfer2(list(data[:half]))\nspi.xfer2(list(data[half:] + REST))")  # fmt: skip
    made.append(_case("gap", _wall(rng, "WS2812B"), "two transfers, 100 µs apart", of, split))
    of = Program(4_200_000, 5, (1, 4), "exact", options="&gap_us=400",
                 send="half = len(data) // 30 * 15\nspi.writebytes(list(data[:half]))\n"
                 "spi.writebytes(list(data[half:] + REST))")  # fmt: skip
    made.append(_case("gap", _wall(rng, "WS2812B-V5"), "two transfers, 400 µs apart", of, split))
    of = Program(2_400_000, 3, (1, 2), options="&gap_us=5", send="half = len(data) // 18 * 9\n"
                 "spi.xfer2(list(data[:half]))\ntime.sleep(0.003)\n"
                 "spi.xfer2(list(data[half:] + REST))")  # fmt: skip
    made.append(_case("pause", _wall(rng, "WS2812B"), "it sleeps 3 ms in the middle of a frame", of,
                      split))  # fmt: skip
    return made


def _levels(rng: np.random.Generator) -> list[Case]:
    """What the level of MOSI before and after a message does."""
    high = "&idle=high"
    three = ("spi.xfer2(list(data + REST))", "spi.xfer2([0] + list(data + REST))",
             "spi.xfer2(list(data))")  # fmt: skip
    said = has(r"rests? high|idle|MOSI.*high")
    truths = ("high before the first bit: it reads as 1 and is far too long",
              "high before a zero byte: one more bit, all is one bit late",
              "high after the data: no frame ends")  # fmt: skip
    made = [
        _case("idle high", _wall(rng, "WS2812B"), truth,
              Program(6_400_000, 8, (2, 5), "exact", send=send, options=high), said, exits=(1, 2))
        for send, truth in zip(three, truths, strict=True)
    ]  # fmt: skip
    of = Program(6_400_000, 8, (2, 5), "exact", send="spi.xfer2(list(data))")
    made.append(_case("no latch", _wall(rng, "WS2812B"), "no trailing zeros", of,
                      both(has("zero|low"), has("latch|50")), exits=(0, 1)))  # fmt: skip
    return made


def _orders(rng: np.random.Generator) -> list[Case]:
    """Bits, words, levels and edges the wrong way round."""
    one = Program(6_400_000, 8, (2, 5), "exact")

    def with_(**changes: str) -> Program:
        return Program(**(one.__dict__ | changes))

    back = "spi.xfer2([int(f'{v:08b}'[::-1], 2) for v in data] + list(REST))"
    sends = [
        ("lsbfirst", "WS2812B",
         Program(2_400_000, 3, (1, 2), "bcm2835", OPENED + "\nspi.lsbfirst = True"),
         has(r"lsb|lowest bit|Invalid argument|EINVAL|Errno 22")),
        ("lowest bit first", "WS2812B",
         with_(send="spi.xfer2([int(f'{v:08b}'[::-1], 2) for v in data] + list(REST))"),
         has(r"lowest bit|bit order|revers|backward")),
        ("payload lowest bit first", "APA102",
         Program(2_000_000, send=back.replace(" + list(REST)", "")),
         has(r"lowest bit|bit order|revers|backward|nothing|frame")),
        ("words of 16", "WS2812B",
         Program(2_400_000, 3, (1, 2), "omap2", OPENED + "\nspi.bits_per_word = 16",
                 "data += bytes(len(data) % 2)\nspi.xfer2(list(data + REST + REST))"),
         has(r"word|16")),
        ("inverted", "WS2812B", with_(send="spi.xfer2([255 - v for v in data] + list(REST))"),
         has("invert|begin low|rests? high|high")),
        ("mode 1", "APA102", Program(2_000_000, setup=OPENED + "\nspi.mode = 1",
                                     send="spi.xfer2(list(data))"), has("mode|rises|edge")),
        ("mode 2", "LPD8806", Program(2_000_000, setup=OPENED + "\nspi.mode = 2",
                                      send="spi.xfer2(list(data))"), has("mode|rises|edge")),
        ("mode 3", "WS2801", Program(1_000_000, setup=OPENED + "\nspi.mode = 0b11",
                                     send="spi.xfer2(list(data))\ntime.sleep(0.002)"),
         has("mode|rests high|clock")),
        ("another device", "APA102", Program(
            2_000_000, setup="spi = spidev.SpiDev()\nspi.open(1, 0)\nspi.max_speed_hz = {hz}"),
         both(has(r"1\.0"), has("No such file|not found|line|device"))),
    ]  # fmt: skip
    return [_case(kind, _wall(rng, part), kind, of, said, exits=(1, 2))
            for kind, part, of, said in sends]  # fmt: skip


def _maps(rng: np.random.Generator) -> list[Case]:
    """The pins are right, the map is not."""
    made = []
    for n, (part, bits) in enumerate([("WS2812B", 3), ("SK6812-RGBW", 4), ("APA102", 0)]):
        of = _suited(rng, part, bits, False, "exact") if bits else Program(4_000_000)
        wall = _wall(rng, part, (7, 5))
        cells = [(int(c), int(r)) for c, r in wall.cells]
        kinds = [
            ("mirrored", [(wall.columns - 1 - c, r) for c, r in cells],
             has("mirror|left.{1,5}right|revers|backward|start")),
            ("late", [*cells[:9], cells[8], *cells[9:-1]],
             both(has("late|one|before|shift|further"), has(r"\b(9|8|10)\b"))),
        ]  # fmt: skip
        kind, moved, said = kinds[n % 2]
        changed = Program(of.hz, of.bits, of.high, of.controller, cells=tuple(moved))
        made.append(_case(f"map: {kind}", wall, kind, changed, said, blamed=("map",)))
    wall = _wall(rng, "WS2812B")
    order = wall.order[1] + wall.order[0] + wall.order[2]
    of = Program(2_400_000, 3, (1, 2), order=order)
    named = {"R": "red", "G": "green", "B": "blue"}
    made.append(_case("colours", wall, f"sent as {order}, not {wall.order}", of,
                      both(*(has(rf"{named[c]}|{order}") for c in order[:2])),
                      blamed=("colour",)))  # fmt: skip
    return made


# Five frames of its own; each LED is another colour
OWN = ("(json.dumps({{'columns': {c}, 'rgb': bytes((37 * k + 11 * n) % 256 for k in range({s}))"
       ".hex()}}) for n in range(5))")  # fmt: skip


def _listened(kind: str, wall: Wall, truth: str, of: Program, frames: int | None, verdict: str,
              *named: Said) -> Case:  # fmt: skip
    """`foreglow listen`: its report counts frames and judges the timing."""
    own_frames = OWN.format(c=wall.columns, s=3 * wall.columns * wall.rows)
    program = text(wall, Program(**(of.__dict__ | {"frames": own_frames})))

    def own(case: Case) -> tuple[bool, bool, list[str], str]:
        with folder() as at:
            (at / "wall.toml").write_text(wall.toml)
            (at / "show.py").write_text(program)
            answer = foreglow(
                "listen", "wall.toml", "--program", f"{sys.executable} show.py", "--spi",
                *("--to", "memory:", "--address", f"spi:?controller={of.controller}{of.options}"),
            )  # fmt: skip
        said = re.sub(r"\s+", " ", answer.out + answer.err)
        counted = re.search(r"(\d+) frames?", said)
        lies = []
        if "Traceback" in answer.err and "show.py" not in answer.err:
            lies.append(answer.err[-500:])
        if frames is not None and (not counted or int(counted[1]) != frames):
            lies.append(f"{frames} frames, not {counted and counted[0]}")
        if verdict and not re.search(rf"timing of MOSI: {verdict}", said):
            lies.append(f"timing: {verdict}")
        return True, all(s(said) for s in named), lies, said

    return Case(f"listen: {kind}", wall, truth, own=own, quiet=not named)


def _listen(rng: np.random.Generator) -> list[Case]:
    three = Program(2_400_000, 3, (1, 2))
    wall = _wall(rng, "WS2812B")
    pausing = "spi.xfer2(list(data + REST))\ntime.sleep(0.01)"
    make: Callable[..., Program] = lambda **k: Program(**(three.__dict__ | k))  # noqa: E731
    half = ("half = len(data) // 18 * 9\nspi.xfer2(list(data[:half]))\n"
            "spi.xfer2(list(data[half:] + REST))\ntime.sleep(0.01)")  # fmt: skip
    return [
        _listened("right", wall, "5 frames", make(send=pausing), 5, "pass"),
        _listened("right, no pause", wall, "5 frames", make(), 5, "pass"),
        _listened("fast", wall, "4.2 MHz", make(hz=4_200_000, send=pausing), None, "fail", TIMING),
        _listened("gap", wall, "two transfers a frame", make(send=half), None, "",
                  has("gap|transfers")),
        _listened("no rest", _wall(rng, "WS2812B-V5"),
                  "data without zeros, and 100 µs of gap: less than 280", Program(
                      4_200_000, 5, (1, 4), "exact",
                      send="blob = tuple(data)\nfor _ in range(3):\n    spi.xfer2(blob)"),
                  None, "", has("zero"), has("end")),
        _listened("raises", wall, "it raises at once", make(send="raise OSError('no wall here')"),
                  0, "", either(has("no wall here"), has("status 1"))),
        _listened("clocked", _wall(rng, "APA102"), "5 frames", Program(4_000_000), 5, ""),
    ]  # fmt: skip


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    rng = np.random.default_rng(SEED)
    made: list[Case] = []
    for make in (_rights, _speeds, _lengths, _levels, _orders, _maps, _listen):
        made += make(rng)
    return tuple(made)
