"""What was measured, what a limit leaves, and what a scene takes: each from its own sum.

Current of an LED: dark_ma + channel_ma × Σ drive/255, as the catalogue has it (its figures:
common practice, no source); energy is volts of the supply × current × time.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.outside.generated_physical import walls
from tests.outside.generated_physical.run import folder, foreglow

SEED = 20261201
COLOURS = ("", "red", "green", "blue", "dark")
SCENE = """import numpy as np

LEVEL, SHARE, HOLD_S, WHAT = {level}, {share}, {hold}, "{what}"


def picture(time_s, display):
    rng = np.random.default_rng([{seed}, int(time_s / HOLD_S)])
    shape = display.picture_shape
    if WHAT == "noise":
        return (rng.random(shape) * LEVEL * 255).astype(np.uint8)
    if WHAT == "some":
        lit = rng.random(shape[:2]) < SHARE
        return (lit[..., None] * rng.integers(0, 256, shape)).astype(np.uint8)
    if WHAT == "light":  # linear light, dim and bright at once
        return rng.random(shape) ** 4 * LEVEL
    return np.full(shape, round(255 * LEVEL), np.uint8)
"""


@dataclass
class Case:
    """What is asked, by kind."""

    number: int
    kind: str
    data: dict[str, Any]
    text: str
    measured: list[str]
    scene: str = ""
    seconds: int = 12


@cache
def case(n: int) -> Case:
    rng = np.random.default_rng([SEED, n])
    kind = ("measured", "limit", "energy")[n % 3]
    columns, rows = int(rng.integers(2, 13)), int(rng.integers(1, 9))
    part = str(rng.choice(["WS2812B", "SK6812", "APA102", "SK6812-RGBW", "WS2815"]))
    data: dict[str, Any] = {
        "about": "Foyer", "grid": {"columns": columns, "rows": rows, "pitch_mm": 16.667},
        "chip": {"part": part}, "wiring": {"along": "rows", "start": "top-left", "lines": 1},
        "controller": {"frame_rate": 20}, "power": {},
    }  # fmt: skip
    if rng.random() < 0.4:
        data["chip"]["channel_ma"] = round(float(rng.uniform(8, 19)), 1)
    if rng.random() < 0.3:
        data["chip"]["dark_ma"] = round(float(rng.uniform(0.3, 1.5)), 2)
    full, dark = walls.full_amps(data)
    if kind != "measured":
        data["power"]["supply"] = [{"amps": round(2 * full + 1, 1)}]
    if kind == "limit":
        data["power"]["limit_a"] = round(dark + (full - dark) * float(rng.uniform(0.1, 0.3)), 4)
    scene = SCENE.format(
        level=round(float(rng.uniform(0.6, 1)), 3), share=round(float(rng.uniform(0.3, 1)), 2),
        hold=float(rng.choice([3, 4])), what=rng.choice(["noise", "some", "light", "flat", "flat"]),
        seed=n,
    )  # fmt: skip
    text = walls.write(data, rng).text
    return Case(n, kind, data, text, _measured(rng, part), scene)


def _measured(rng: np.random.Generator, part: str) -> list[str]:
    leds = int(rng.choice([30, 60, 72, 144]))
    made = []
    if rng.random() < 0.5:
        made.append(f"{leds} LEDs {leds * rng.uniform(0.3e-3, 1.2e-3):.3f} A dark")
    colour = str(rng.choice(["", "red", "green", "blue"]))
    each = rng.uniform(6e-3, 16e-3) * (1 if colour else 3)
    return [*made, f"{leds} LEDs {leds * each:.2f} A {colour}".strip()]


def faults(n: int) -> list[str]:
    """Run case `n`, and tell what is wrong."""
    made = case(n)
    with folder() as place:
        (place / "wall.toml").write_bytes(made.text.encode())
        (place / "scene.py").write_text(made.scene)
        return _check_measured(made) if made.kind == "measured" else _check_drawn(made)


def _check_measured(made: Case) -> list[str]:
    said = [x for m in made.measured for x in ("--measured", m)]
    answer = foreglow("power", "wall.toml", *said, "--json", "--write", "new.toml")
    if answer.data is None:
        return [f"{made.measured}: {(answer.out + answer.err).strip()[:300]}"]
    figures, wrong = answer.data["figures"], []
    chip = made.data["chip"] | figures
    channels = 4 if chip["part"].endswith("W") else 3
    for text, told in zip(made.measured, answer.data["measured"], strict=True):
        amps = float(text.split()[2])
        if abs(told["by_the_figures_a"] - amps) > 0.005 * amps + 5e-4:
            wrong.append(f"'{text}' gives {told['by_the_figures_a']:.4f} A")
        leds, colour = int(text.split()[0]), (text.split()[4:] or ["white"])[0]
        lit = {"dark": 0, "white": channels}.get(colour, 1)
        each = np.broadcast_to(np.atleast_1d(chip.get("channel_ma", 20.0)), (1,))[0] * lit
        sum_a = leds * (chip.get("dark_ma", 1.0) + each) / 1e3
        drop = 2 * 0.0985 * 0.016667 * leds * (leds + 1) / 2 * sum_a / leds  # strip fed at one end
        holds = drop < (1.0 if walls.VOLTS[chip["part"]] == 5 else 1.5)
        if holds and abs(sum_a - amps) > 0.01 * amps + 5e-4:
            wrong.append(f"'{text}': {sum_a:.4f} A by own sum of {figures}")
    again = foreglow("power", "new.toml", *said, "--json")
    if again.data is None:
        wrong.append(f"written file: {again.err.strip()[:200]}")
    elif any(abs(v - again.data["figures"].get(k, v)) > 0.02 * v for k, v in figures.items()):
        wrong.append(f"measured again: {again.data['figures']} for {figures}")
    return wrong


def _drives(wall: str) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Times (F,) and sums of drives of all LEDs (F,), from the exported table."""
    foreglow("record", wall, "scene.py", "--seconds", 12, "-o", f"{wall}.rec")
    foreglow("export", f"{wall}.rec", f"{wall}.csv", "--drives")
    with open(f"{wall}.csv", newline="") as file:
        rows = list(csv.reader(file))
    heads = rows[0]
    table = np.array(rows[1:], np.int64)
    first = heads.index("row") + 1
    times, at = np.unique(table[:, 0], return_inverse=True)
    return times, np.bincount(at, table[:, first : first + 4].sum(axis=1).astype(float))


def _check_drawn(made: Case) -> list[str]:
    """Current and energy by the drives on record, and how much of a limit they use."""
    times, drives = _drives("wall.toml")
    if made.data["chip"]["part"] == "APA102":  # its common intensity is not a channel of its own
        return []
    chip, wrong = made.data["chip"], []
    dark = walls.full_amps(made.data)[1]
    amps = dark + drives / 255 * chip.get("channel_ma", 20.0) / 1e3
    limit = made.data["power"].get("limit_a", np.inf)
    if amps.max() > limit + 1e-9:
        wrong.append(f"{amps.max():.5f} A shown under a limit of {limit}")
    answer = foreglow(
        "power", "wall.toml", "scene.py", "--seconds", 12, "--json", "--plot", "p.png"
    )
    if answer.data is None:
        return [*wrong, (answer.out + answer.err).strip()[:300]]
    told = (answer.data["followed"] or answer.data["scenes"])[-1]
    ends = np.append(times[1:], times[0] + 12 * 10**9)
    mean = float(np.sum(amps * (ends - times)) / (ends[-1] - times[0]))
    if abs(told["sent_mean_a"] - mean) > 0.01 * mean:
        wrong.append(f"mean {told['sent_mean_a']:.4f} A, by the record {mean:.4f}")
    watts = mean * walls.VOLTS[chip["part"]]
    if abs(answer.data["energy"]["typical_w"] - watts) > 0.012 * watts:
        wrong.append(f"{answer.data['energy']['typical_w']:.3f} W, by the record {watts:.3f}")
    if abs(told["sent_peak_a"] - amps.max()) > 0.005 * amps.max():
        wrong.append(f"peak {told['sent_peak_a']:.4f} A, by the record {amps.max():.4f}")
    if np.isfinite(limit):
        wrong += _used(made, times, amps, limit, dark)
    return wrong


def _used(
    made: Case, times: NDArray[np.int64], amps: NDArray[np.float64], limit: float, dark: float
) -> list[str]:
    """Pictures that ask for more than the limit use 97 % of its light.

    Once they have lasted for a while: a limiter recovers slowly (1.5 s).
    """
    free = re.sub(r'"?limit_a"? *= *[\d.]+', "", made.text)
    Path("free.toml").write_bytes(free.encode())
    same, drives = _drives("free.toml")
    assert (same == times).all()
    asked = dark + drives / 255 * made.data["chip"].get("channel_ma", 20.0) / 1e3
    new = np.append(True, np.abs(np.diff(drives)) > 0)
    stood = (
        np.arange(len(times)) - np.maximum.accumulate(np.where(new, np.arange(len(times)), 0))
    ) / 20
    over = (asked > limit) & (stood > 1.6)
    if not over.any():
        return []
    used = (amps[over] - dark) / (limit - dark)
    if used.min() < 0.97:
        share = (limit - dark) / (asked.max() - dark)
        return [
            f"limit {limit} A ({share:.0%} of what is asked): {used.min():.1%} of its light used"
        ]
    return []


def story(n: int) -> str:
    made = case(n)
    asked = made.measured if made.kind == "measured" else made.scene.splitlines()[2]
    return f"{made.kind}: {made.data['chip']} {made.data['grid']} {made.data['power']} {asked}"
