"""Faults of the power: the voltage of every LED, against `nodal.py`.

The cases are such that no LED is near the voltage at which a chip resets: each has more than 3.6 V
(every channel holds its current, WS2812B datasheet: 3.5 V at least), or hardly any, whatever is
lit. Those pass nothing on.
"""

from __future__ import annotations

import copy
import math
from itertools import pairwise
from pathlib import Path

import numpy as np

import emulator
from tests.outside.generated_faults import draw, nodal, walls
from tests.outside.generated_faults.chain import Fault
from tests.outside.generated_faults.nodal import Circuit
from tests.outside.generated_faults.walls import Wall

SEED = 20261402
KINDS = ("power-joint", "feed-joint", "bus-joint", "feed-missing", "wrong-gauge", "supply-small",
         "supply-low")  # fmt: skip
PARTS = ("WS2812B", "SK6812", "SK6812-RGBW", "WS2811-HIGH", "APA102")
LIVE_V, DEAD_V, CLOSE_V = 3.6, 3.0, 1e-3


def planned(rng: np.random.Generator) -> tuple[Wall, Circuit]:
    """A wall whose power the file states in full, and its circuit."""
    wall = walls.draw(rng, PARTS)
    n = len(wall.display.wiring)
    rail = float(rng.choice([0.05, 0.0985, 0.4, 1.5]))
    source = round(float(rng.choice([0, 0, 0.01, 0.05])), 3)
    volts = round(float(rng.choice([5.0, 5.0, 5.2])), 2)
    text = f"[power]\nrail_ohm_per_m = {rail}\n"
    text += f"[[power.supply]]\nvolts = {volts}\namps = 100\nsource_ohm = {source}\n"
    made = Circuit(n, n + 1, volts=volts, source_ohm=source)
    joined = len(wall.runs) > 1 and rng.random() < 0.5
    if joined:
        text += "[power.jumper]\nawg = 20\nlength_m = 0.2\nconnector_mohm = 10\n"
    for run in wall.runs:
        for a, b in pairwise(run):
            made.both(f"rail {a}", a, b, rail / 30)
    for before, run in pairwise(wall.runs):
        if joined and wall.line_of(before[0]) == wall.line_of(run[0]):
            made.both(f"rail {before[-1]}", before[-1], run[0], nodal.copper_ohm(20, 0.2) + 0.01)
    bus = rng.random() < 0.5
    if bus:
        text += "[[power.bus]]\nawg = 14\nto_first_m = 0.4\nbetween_m = 0.3\n"
    ends = [
        (run, k) for run in wall.runs for k in {0, len(run) - 1} if k == 0 or rng.random() < 0.5
    ]
    at = made.terminal
    for number, (run, k) in enumerate(ends):
        line = wall.line_of(run[k])
        led = wall.lines[line].index(run[k])
        awg, length = int(rng.integers(16, 25)), round(float(rng.uniform(0.1, 1.5)), 2)
        text += f"[[power.feed]]\nline = {line}\nled = {led}\nawg = {awg}\nlength_m = {length}\n"
        start = at
        if bus:
            piece = 0.4
            if number:
                piece = round(float(rng.uniform(0.05, 0.8)), 2)
                text += f"bus_m = {piece}\n"
            tap, made.nodes = made.nodes, made.nodes + 1
            made.both(f"bus {number}", start, tap, nodal.copper_ohm(14, piece))
            start = at = tap
        made.both(f"feed {number}", start, run[k], nodal.copper_ohm(awg, length) + 0.005)
        made.lengths_m.append((length, piece if bus else 0.0))
    wall = Wall(wall.part, wall.order, wall.text + text, wall.solid)
    return wall, made


def one(rng: np.random.Generator, wall: Wall, circuit: Circuit, kind: str) -> Fault | None:
    """A fault of this kind, put into the circuit, too."""
    f: Fault = {"kind": kind}
    feeds = sorted(int(k.split()[1]) for k in circuit.plus if k.startswith("feed"))
    ohm = math.inf if rng.random() < 0.5 else round(float(np.exp(rng.uniform(-4, 2))), 3)
    if kind in ("power-joint", "feed-joint", "bus-joint"):
        f["conductor"] = str(rng.choice(["plus", "ground"]))
        if ohm < math.inf:
            f["ohm"] = ohm
        elif rng.random() < 0.5:
            f["ohm"] = "open"
    if kind == "power-joint":
        name = str(rng.choice([k for k in circuit.plus if k.startswith("rail")]))
        led = int(name.split()[1])
        f["line"] = wall.line_of(led)
        f["after"] = wall.lines[f["line"]].index(led)
        circuit.add_ohm(f["conductor"], name, ohm)
    elif kind in ("feed-joint", "bus-joint"):
        f["feed"] = int(rng.choice(feeds))
        name = f"{kind.split('-')[0]} {f['feed']}"
        if name not in circuit.plus:
            return None
        circuit.add_ohm(f["conductor"], name, ohm)
    elif kind == "feed-missing":
        f["feed"] = int(rng.choice(feeds))
        for conductor in ("plus", "ground"):
            circuit.add_ohm(conductor, f"feed {f['feed']}", math.inf)
    elif kind == "wrong-gauge":
        f["feed"], f["awg"] = int(rng.choice(feeds)), int(rng.integers(22, 33))
        lengths = circuit.lengths_m
        if lengths[f["feed"]][1] and rng.random() < 0.5:
            f["wire"] = "bus"
            for n in feeds:
                for edges in (circuit.plus, circuit.ground):
                    a, b, _ = edges[f"bus {n}"]
                    edges[f"bus {n}"] = (a, b, nodal.copper_ohm(f["awg"], lengths[n][1]))
        else:
            for edges in (circuit.plus, circuit.ground):
                a, b, _ = edges[f"feed {f['feed']}"]
                ohm = nodal.copper_ohm(f["awg"], lengths[f["feed"]][0]) + 0.005
                edges[f"feed {f['feed']}"] = (a, b, ohm)
    elif kind == "supply-small":
        f["amps"] = circuit.amps = round(float(rng.uniform(0.02, 0.04)) * circuit.leds, 3)
    elif kind == "supply-low":
        if rng.random() < 0.7:
            f["volts"] = round(float(rng.uniform(4.2, 4.8)), 2)
        circuit.volts = f.get("volts", 4.5)
    return f


def case(n: int) -> tuple[Wall, list[Fault], Circuit, np.random.Generator]:
    rng = np.random.default_rng([SEED, n])
    while True:
        wall, circuit = planned(rng)
        wanted = [KINDS[n % len(KINDS)]]
        if rng.random() < 0.5:
            wanted += [str(rng.choice([k for k in KINDS[:4] if k != wanted[0]]))]
        faults = [one(rng, wall, circuit, kind) for kind in wanted]
        names = [(f["kind"].split("-")[0], f.get("feed"), f.get("after")) for f in faults if f]
        if all(faults) and len(set(names)) == len(names):
            return wall, faults, circuit, rng


def predicted(
    wall: Wall, circuit: Circuit, frame: np.ndarray
) -> tuple[np.ndarray, np.ndarray] | None:
    """Volts (N,) and drives (N, C) of a frame; None if a chip is too near to its reset to tell."""
    lit = len([c for c in wall.channels if c != "I"])
    idle = circuit.solve(np.zeros((circuit.leds, lit)))[0]
    dead = idle < DEAD_V
    shown = np.zeros(frame.shape, int)
    for line in wall.lines:
        for led in line:
            if dead[led]:
                break
            shown[led] = frame[led]
    duty = shown[:, :lit] / 255
    if "I" in wall.channels:
        duty = duty * shown[:, 3:] / 31
    volts = circuit.solve(duty)[0]
    if (volts[~dead] < LIVE_V).any() or (volts[dead] > DEAD_V).any():
        return None
    return volts, shown


def wrong(n: int) -> list[str] | None:
    """Run case `n`, and tell where bench and prediction differ; None if it tells nothing."""
    wall, faults, circuit, rng = case(n)
    scale = float(rng.choice([0.1, 0.3, 1.0]))
    frames = walls.drives(rng, wall, 2)
    frames[..., : 4 if "W" in wall.channels else 3] = (
        frames[..., : 4 if "W" in wall.channels else 3] * scale
    )
    cut = int(rng.integers(0, len(faults) + 1))
    text = wall.text + "".join(draw.table(rng, f) for f in faults[:cut])
    display = emulator.parse_display(text, Path("wall.toml"))
    said = [draw.sentence(rng, f) for f in faults[cut:]]
    expected = [predicted(wall, copy.deepcopy(circuit), frame) for frame in frames]
    if None in [e if e is None else 1 for e in expected]:
        return None
    bench = emulator.Bench(display, powered=True, faults=said)
    told = []
    for k, (volts, shown) in enumerate(expected):
        bench.leds[:] = frames[k]
        bench.leds.send()
        far = np.abs(bench.rail_volts() - volts)
        off = np.flatnonzero((bench.drives != shown).any(axis=1))
        if off.size:
            told.append(f"frame {k}: drives of {off.size} LEDs differ, first {off[0]}: shows "
                        f"{bench.drives[off[0]]}, predicted {shown[off[0]]}")  # fmt: skip
        elif far.max() > CLOSE_V:
            led = int(far.argmax())
            told.append(f"frame {k}: {(far > CLOSE_V).sum()} LEDs differ in volts, most {led}: "
                        f"{bench.rail_volts()[led]:.5f}, predicted {volts[led]:.5f}")  # fmt: skip
    return told


def story(n: int) -> str:
    wall, faults, _, _ = case(n)
    return f"{wall.part}: {faults}"
