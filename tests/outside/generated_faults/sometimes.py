"""Loose joints: the share of the time that a fault is there, and that its seed repeats it.

A fault that comes and goes in exponential spells is a Markov process of two states. Its share over
a time T has the variance 2 s (1 − s) t / T, with 1/t = 1/on + 1/off: the integral of its
autocovariance s (1 − s) exp(−τ/t). The bounds are six deviations, with that of counting independent
frames (binomial) added. A joint that keeps what was shown is found by frames that all differ.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

import emulator
from tests.outside.generated_faults import draw, walls
from tests.outside.generated_faults.chain import Fault
from tests.outside.generated_faults.walls import Wall

SEED = 20261404
FRAMES, PERIOD_NS = 1500, 40_000_000
KINDS = ("led-dark", "led-swallows", "data-open", "channel-off", "channel-on", "motor-noise",
         "busy-computer")  # fmt: skip


def case(n: int):
    rng = np.random.default_rng([SEED, n])
    kind = KINDS[n % len(KINDS)]
    while True:
        wall = walls.draw(rng, ("WS2812B", "SK6812", "SK6812-RGBW", "WS2811-HIGH"))
        if len(wall.lines[0]) < 3 or len(wall.display.wiring) > 40:
            continue
        f = draw.one(rng, wall, kind) if kind in (*draw.STRIP, *draw.CHANNEL) else {"kind": kind}
        if f is None:
            continue
        f["share"] = round(float(rng.uniform(0.05, 0.95)), 3)
        f["spell_s"] = round(float(np.exp(rng.uniform(-3.5, 0))), 3)
        f["seed"] = int(rng.integers(0, 1000))
        if kind == "motor-noise":
            f["noise_v"] = 20.0
        if kind == "busy-computer":
            f["pause_us"] = 2000.0
        return wall, f, rng


def _shown(wall: Wall, fault: Fault, frames, stack: bool) -> np.ndarray:
    """What the LEDs showed of each frame: drives (T, N, C), or light (T, N, 3) of a bad channel."""
    display = emulator.parse_display(wall.text, Path("wall.toml"))
    bench = emulator.Bench(display, faults=[draw.sentence(np.random.default_rng(0), fault)])
    if stack:
        order = [wall.channels.index(c) for c in wall.order]
        bench.send_frames(frames[..., order].reshape(len(frames), -1), PERIOD_NS)
        return bench.frames
    made = []
    for k, frame in enumerate(frames):
        bench.clock.wait_until(k * PERIOD_NS)
        bench.leds[:] = frame
        bench.leds.send()
        made.append(bench.light if fault["kind"] in draw.CHANNEL else bench.drives.copy())
    return np.array(made)


def wrong(n: int) -> list[str]:
    """Run case `n`, and tell what is wrong with the share, or with the seed."""
    wall, fault, rng = case(n)
    leds, channels = len(wall.display.wiring), len(wall.channels)
    frames = rng.integers(1, 255, (FRAMES, leds, channels)).astype(np.uint8)
    light = frames / 255
    usual = light[..., :3] + (light[..., 3:] if channels == 4 else 0)
    is_channel = fault["kind"] in draw.CHANNEL
    shown = _shown(wall, fault, frames, stack=False)
    there = (np.abs(shown - (usual if is_channel else frames)) > 1e-6).any(axis=(1, 2))
    said, share, spell = [], fault["share"], fault["spell_s"]
    along = spell * (1 - share)  # 1 / (1 / on + 1 / off), with off = on (1 - share) / share
    spread = 2 * share * (1 - share) * along / (FRAMES * PERIOD_NS / 1e9)
    spread = math.sqrt(spread + share * (1 - share) / FRAMES)
    if abs(there.mean() - share) > 6 * spread:
        said.append(f"there in {there.mean():.3f} of the frames, not in {share} ± {spread:.3f}")
    few = slice(0, 300)
    if not (_shown(wall, fault, frames[few], stack=False) == shown[few]).all():
        said.append("the same seed gives something else")
    if not is_channel and not (_shown(wall, fault, frames[few], stack=True) == shown[few]).all():
        said.append("send_frames shows something else than as many sends")
    other = _shown(wall, fault | {"seed": fault["seed"] + 1}, frames, stack=False)
    if (other == shown).all():
        said.append("another seed gives the same moments")
    return said


def story(n: int) -> str:
    wall, fault, _ = case(n)
    return f"{wall.part}, {len(wall.display.wiring)} LEDs: {fault}"
