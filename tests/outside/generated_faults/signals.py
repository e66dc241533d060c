"""Faults of the signal: closed forms for where a line is right, black, white or not right.

WS2812B datasheet, Worldsemi: VIH is at least 0.7 VDD; a chip tells bits by how long they are high;
a low of the reset time latches. Between a clear margin and a clear failure (`CLOSE_V`, one part in
ten of a threshold) nothing is predicted. The other lines stay right.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

import emulator
from tests.outside.generated_faults import draw, nodal, powered, walls
from tests.outside.generated_faults.chain import Fault
from tests.outside.generated_faults.walls import CLOCKED, ONE_WIRE, Wall

SEED = 20261403
KINDS = ("low-logic", "ground-lifted", "long-wire", "motor-noise", "clock-off", "spi-speed",
         "reset-short", "busy-computer", "no-common-ground")  # fmt: skip
CLOSE_V = 0.25
FASTEST_MHZ = {"APA102": 20.0, "SK9822": 20.0, "WS2801": 25.0, "LPD8806": 20.0}
RIGHT, BLACK, WHITE, WRONG, CUT, UNTOLD = "right", "black", "white", "wrong", "cut", "untold"


def _scaled(part: str, factor: float, pulses: tuple[float, float] | None = None) -> str:
    """What a line shows whose pulses last `factor` times as long."""
    zero, one, zero_most, one_least, _ = ONE_WIRE[part]
    zero, one = pulses or (zero, one)
    threshold = (zero_most + one_least) / 2
    said = []
    for high in (zero * factor, one * factor):
        if abs(high / threshold - 1) < 0.02:
            return UNTOLD
        said.append(high > threshold)
    if said[1]:
        return WHITE if said[0] else RIGHT
    return BLACK


def one(rng: np.random.Generator, wall: Wall, kind: str) -> tuple[Fault, str]:
    """A fault, and what its line does."""
    f: Fault = {"kind": kind}
    clocked = wall.part in CLOCKED
    if clocked and (kind == "clock-off" or (kind == "reset-short" and wall.part != "WS2801")):
        kind = f["kind"] = "busy-computer"  # the clock wire says where bits are
    if kind == "motor-noise":
        f["share"] = 1.0
        f["noise_v"] = float(rng.choice([0.02, 0.1, 4, 20]))
        does = RIGHT if f["noise_v"] < 0.3 else WRONG
    elif kind == "long-wire":
        f["metres"] = float(rng.choice([0.1, 0.5, 1.0, 600, 1000]))
        does = RIGHT if f["metres"] < 2 else WRONG
    elif kind == "clock-off":
        f["percent"] = round(float(rng.choice([rng.uniform(-60, 120), rng.uniform(-8, 8)])), 1)
        does = _scaled(wall.part, 1 + f["percent"] / 100)
    elif kind == "spi-speed":
        f["mhz"] = round(float(np.exp(rng.uniform(0, 2))) * 0.8, 2)
        if rng.random() < 0.3 and not clocked:
            f["planned_mhz"] = 3.2
        if clocked:
            f["mhz"] = float(rng.choice([1.0, 8.0, 19.0, 60.0]))
            does = RIGHT if f["mhz"] <= FASTEST_MHZ[wall.part] else WRONG
        else:
            factor = f.get("planned_mhz", 2.4) / f["mhz"]
            does = _scaled(wall.part, factor)
            planned = f.get("planned_mhz", 2.4)
            if does != _scaled(wall.part, factor, (1000 / planned, 2000 / planned)):
                does = UNTOLD  # whether code sends three SPI bits for one, or others, is not said
    elif kind == "reset-short":
        rest = 500 if wall.part == "WS2801" else ONE_WIRE[wall.part][4]
        f["low_us"] = round(float(rng.choice([0, 0.5, 0.9, 1.1, 3])) * rest, 1)
        does = RIGHT if f["low_us"] > rest else BLACK
    elif kind == "busy-computer":
        rest = 500 if wall.part == "WS2801" else ONE_WIRE[wall.part][4] if not clocked else 0
        f["share"] = 1.0
        f["pause_us"] = round(float(rng.choice([0.2, 0.8, 1.2, 4])) * max(rest, 50), 1)
        does = CUT if rest and f["pause_us"] > rest else RIGHT
    elif kind == "no-common-ground":
        does = UNTOLD
    elif kind == "low-logic":
        f["volts"] = round(float(rng.uniform(2, 5)), 2)
        if rng.random() < 0.5:
            f["threshold"] = round(float(rng.uniform(0.35, 0.85)), 2)
        does = UNTOLD
    else:
        f["mohm"] = round(float(rng.choice([0, 5, 50, 400, 3000])), 1)
        does = UNTOLD
    if rng.random() < 0.5:
        f["line"] = int(rng.integers(len(wall.lines)))
    return f, does


def case(n: int):
    rng = np.random.default_rng([SEED, n])
    kind = KINDS[n % len(KINDS)]
    if kind in ("low-logic", "ground-lifted"):
        wall, circuit = powered.planned(rng)
    else:
        wall, circuit = walls.draw(rng), None
    fault, does = one(rng, wall, kind)
    return wall, circuit, fault, does, rng


def _margin(wall: Wall, circuit: nodal.Circuit, fault: Fault, line: int, frame) -> float:
    """Volts of the high level above what the first LED needs, while it shows this frame."""
    lit = len([c for c in wall.channels if c != "I"])
    duty = frame[:, :lit] / 255
    if "I" in wall.channels:
        duty = duty * frame[:, 3:] / 31
    drop, ground, _ = circuit.solve(duty)
    first = wall.lines[line][0]
    if fault["kind"] == "low-logic":
        return fault["volts"] - fault.get("threshold", 0.7) * drop[first]
    total = nodal.load(drop, duty)[0].sum()
    lift = total * fault["mohm"] / 1000 + ground[first]
    return 5.0 - lift - 0.7 * drop[first]  # [controller] logic_volts is 5


def _levels(n: int) -> list[str] | None:
    """Margins: each frame is received while the LEDs still show the one before."""
    wall, circuit, fault, _, rng = case(n)
    frames = walls.drives(rng, wall, 3)
    channels = 4 if "W" in wall.channels else 3
    frames[..., :channels] = frames[..., :channels] * rng.choice([0.02, 0.5, 1], (3, 1, 1))
    lines = [fault["line"]] if "line" in fault else range(len(wall.lines))
    display = emulator.parse_display(wall.text, Path("wall.toml"))
    bench = emulator.Bench(display, powered=True, faults=[draw.sentence(rng, fault)])
    said, told = [], 0
    before = np.zeros_like(frames[0])
    for k, frame in enumerate(frames):
        bench.leds[:] = frame
        margins = {line: _margin(wall, circuit, fault, line, before) for line in lines}
        bench.leds.send()
        before = bench.drives.copy()
        for line, leds in enumerate(wall.lines):
            same = (bench.drives[leds] == frame[leds]).all()
            margin = margins.get(line, 1.0)
            if abs(margin) > CLOSE_V:
                told += 1
                if same != (margin > 0):
                    said.append(f"frame {k}, line {line}: margin {margin:.2f} V, right: {same}")
    return said if told else None


def _floating(wall: Wall, fault: Fault, rng: np.random.Generator) -> list[str]:
    """Without a common ground half of the frames are right, and of other lines all.

    The grounds are apart by any voltage from -5 to 5 V, evenly (as the fault states). A high of 5 V
    is seen above 0.7 × 5 V up to an offset of 1.5 V; a low is taken for a high from -3.5 V on.
    """
    display = emulator.parse_display(wall.text, Path("wall.toml"))
    bench = emulator.Bench(display, faults=[draw.sentence(rng, fault)])
    frames = walls.drives(rng, wall, 60)
    right = np.zeros((60, len(wall.lines)))
    for k, frame in enumerate(frames):
        bench.leds[:] = frame
        bench.leds.send()
        right[k] = [(bench.drives[leds] == frame[leds]).all() for leds in wall.lines]
    bounds = 4 * math.sqrt(0.25 / 60)  # of 60 frames, binomial
    return [
        f"line {line}: {share:.0%} of the frames are right"
        for line, share in enumerate(right.mean(axis=0))
        if (abs(share - 0.5) > bounds if fault.get("line", line) == line else share < 1)
    ]


def wrong(n: int) -> list[str] | None:
    wall, circuit, fault, does, rng = case(n)
    if circuit is not None:
        return _levels(n)
    if fault["kind"] == "no-common-ground":
        return _floating(wall, fault, rng)
    frames = walls.drives(rng, wall, 3)
    text, sentences = wall.text, [draw.sentence(rng, fault)]
    if rng.random() < 0.5:
        text, sentences = text + draw.table(rng, fault), []
    display = emulator.parse_display(text, Path("wall.toml"))
    bench = emulator.Bench(display, faults=sentences, waveform=bool(n % 4 == 0))
    said = []
    before = np.zeros_like(frames[0])
    for k, frame in enumerate(frames):
        bench.leds[:] = frame
        bench.leds.send()
        for line, leds in enumerate(wall.lines):
            does_here = does if fault.get("line", line) == line else RIGHT
            fault_here = _judge(does_here, bench.drives[leds], frame[leds], before[leds], wall)
            if fault_here:
                said.append(f"frame {k}, line {line}: {fault_here}")
        before = bench.drives.copy()
    return said[:2] if does != UNTOLD or said else None


def _judge(does: str, shown, sent, before, wall: Wall) -> str:
    first = f"LED 0 shows {shown[0]} for {sent[0]}"
    if does == RIGHT and (shown != sent).any():
        return f"predicted right; {(shown != sent).any(axis=1).sum()} LEDs are not, {first}"
    if does == BLACK and shown.any():
        return f"predicted black; {first}"
    if does == WHITE and (shown != 255).any():
        return f"predicted white; {first}"
    if does == WRONG and (shown == sent).all():
        return "predicted not right; it is right"
    if does == CUT and not _cut(shown, sent, before, wall):
        return (
            f"no cut of the frame gives what is shown: {shown[:4].tolist()} for {sent[:4].tolist()}"
        )
    return ""


def _cut(shown, sent, before, wall: Wall) -> bool:
    """Whether there is a bit from which on the frame started again at LED 0."""
    order = [wall.channels.index(c) for c in wall.order]
    size = 8 * len(order)
    bits = np.unpackbits(sent[:, order].astype(np.uint8).reshape(-1))
    for at in range(1, bits.size):
        now = before.copy()
        for part in (bits[:at], bits[at:]):
            whole = part[: len(part) - len(part) % size]
            leds = np.packbits(whole).reshape(-1, len(order))
            for place, channel in enumerate(order):
                now[: len(leds), channel] = leds[:, place]
        if (now == shown).all():
            return True
    return False


def story(n: int) -> str:
    wall, _, fault, does, _ = case(n)
    return f"{wall.part} {wall.order}: {fault}, predicted {does}"
