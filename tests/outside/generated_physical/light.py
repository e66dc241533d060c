"""Covers and whites at random, held against `optics.py`; and what must rise or fall, does."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from tests.outside.generated_physical import optics
from tests.outside.generated_physical.run import Answer, folder, foreglow

SEED = 20261129
CLOSE = 0.01  # of min/mean and min/max


@dataclass(frozen=True)
class Wall:
    """One cell, as often as need be."""

    pitch: float = 33.333
    opening: float | None = None
    depth: float = 20.0
    emitter: float | None = None
    off: float = 0.0
    half_angle: float | None = None
    walls: str = "black"
    part: str = "WS2812B"
    chip: str = ""
    distance: float = 3.0
    scatter: float = 1.0

    def text(self) -> str:
        lines = ["[grid]", "columns = 9", "rows = 9", f"pitch_mm = {self.pitch}"]
        lines += ["[chip]", f'part = "{self.part}"', self.chip]
        if self.emitter is not None:
            lines.append(f"emitter_mm = {self.emitter}")
        if self.half_angle is not None:
            lines.append(f"half_angle_deg = {self.half_angle}")
        lines += ["[wiring]", "[cover]", f"depth_mm = {self.depth}", f'walls = "{self.walls}"']
        lines += [f"off_centre_mm = {self.off}", f"scatter_mm = {self.scatter}"]
        if self.opening is not None:
            lines.append(f"opening_mm = {self.opening}")
        lines += ["[view]", f"distance_m = {self.distance}"]
        return "\n".join(lines) + "\n"


def ask(wall: Wall) -> Answer:
    """What `foreglow light` says."""
    with folder() as place:
        (place / "wall.toml").write_text(wall.text())
        return foreglow("light", "wall.toml", "--json", "--plot", "plot.png")


@dataclass
class Case:
    """A wall, and the figures of it that are checked."""

    number: int
    kind: str
    wall: Wall


def _cover(rng: np.random.Generator) -> Wall:
    pitch = round(float(rng.choice([6.944, 10, 16.667, 33.333, 50, 100])), 3)
    opening = round(float(rng.uniform(0.3, 1)) * pitch, 2)
    depth = round(float(np.exp(rng.uniform(np.log(0.15), np.log(4)))) * pitch, 2)
    emitter = round(float(rng.choice([0, 0, 1, 3.5, 5])), 2)
    emitter = min(emitter, round(opening * 0.7, 2))
    off = float(rng.choice([0, 0, 1])) * round(float(rng.uniform(-0.8, 0.8)), 3)
    off = round(off * (opening - emitter) / 2, 3)
    half = None if rng.random() < 0.8 else round(float(rng.uniform(30, 65)), 1)
    return Wall(
        pitch, opening if rng.random() < 0.85 else None, depth, emitter, off, half,
        distance=round(float(rng.uniform(1, 30)), 1), scatter=round(float(rng.uniform(0, 3)), 2),
    )  # fmt: skip


def _white(rng: np.random.Generator) -> Wall:
    """LEDs whose mix may be near white, or that have a white channel."""
    part = str(rng.choice(["WS2812B", "WS2813B", "APA102", "SK6812-RGBW"], p=[0.4, 0.2, 0.2, 0.2]))
    nm = [rng.uniform(610, 635), rng.uniform(515, 535), rng.uniform(455, 475)]
    mcd = [rng.uniform(250, 900), rng.uniform(500, 1500), rng.uniform(15, 250)]
    chip = f"wavelength_nm = {[round(v, 1) for v in nm]}"
    chip += f"\nintensity_mcd = {[round(v, 1) for v in mcd]}"
    if part.endswith("W"):
        chip += f"\nwhite_k = {rng.uniform(1600, 19500):.0f}"
    return Wall(part=part, chip=chip)


KINDS = {"cover": _cover, "white": _white, "monotone": _cover}


@cache
def case(n: int) -> Case:
    rng = np.random.default_rng([SEED, n])
    kind = str(rng.choice(list(KINDS), p=[0.45, 0.35, 0.2]))
    return Case(n, kind, KINDS[kind](rng))


def judge(made: Case, said: Answer) -> list[str]:
    """What is wrong; nothing where all is right."""
    if said.data is None:
        return [f"status {said.status}: {(said.out + said.err).strip()[-300:]}"]
    return {"cover": _judge_cover, "white": _judge_white, "monotone": _judge_monotone}[made.kind](
        made.wall, said.data
    )


def _judge_cover(wall: Wall, data: Any) -> list[str]:
    opening, emitter = wall.opening or wall.pitch, wall.emitter or 0.0
    beam = optics.beam_exponent(wall.half_angle) if wall.half_angle else 1.0
    told = data["figures"]["min_to_mean"], data["figures"]["min_to_max"]
    true = optics.uniformity(opening, wall.depth, emitter, wall.off, beam)
    faults = [
        f"{name} {t:.4f}, by quadrature {w:.4f}"
        for name, t, w in zip(("min/mean", "min/max"), told, true, strict=True)
        if abs(t - w) > CLOSE * max(w, 0.05)
    ]
    for at in data["gluing"]["at"]:
        if at["off_mm"] > (opening - emitter) / 2:
            continue
        want = optics.uniformity(opening, wall.depth, emitter, at["off_mm"], beam)[0]
        if abs(at["min_to_mean"] - want) > CLOSE * max(want, 0.05):
            faults.append(f"{at['off_mm']} mm off: {at['min_to_mean']:.4f}, true {want:.4f}")
        if at["spot_mm"] is not None and abs(at["spot_mm"] - at["off_mm"]) > 0.15 + 0.02 * opening:
            faults.append(f"spot {at['spot_mm']:.2f} mm off for {at['off_mm']} mm")
    told_mm = data["gluing"]["tolerance_mm"]
    want_mm = optics.tolerance(opening, wall.depth, emitter, beam)
    if told_mm is not None and abs(told_mm - want_mm) > 0.1 + 0.05 * want_mm:
        faults.append(f"tolerance {told_mm:.3f} mm, true {want_mm:.3f}")
    return faults


def _judge_white(wall: Wall, data: Any) -> list[str]:
    white, faults = data["white"], []
    kelvin, away = optics.nearest_kelvin(white["x"], white["y"])
    told = white["temperature_k"]
    if told is None:
        if 2000 < kelvin < 20_000 and away < 0.049:
            faults.append(f"no CCT ({white['no_temperature']}); {kelvin:.1f} K, {away:.4f} off")
    elif 2000 <= kelvin <= 20_000 and abs(told - kelvin) > 1:
        faults.append(f"{told} K, exactly {kelvin:.2f} K")
    if told is not None and abs(abs(white["off_locus"]) - away) > 2e-4:
        faults.append(f"off locus {white['off_locus']}, exactly {away:.5f}")
    if wall.part.endswith("W"):  # its white is that of W alone
        return faults
    mcd = re.search(r"intensity_mcd = \[(.*)\]", wall.chip)
    assert mcd
    gained = [float(v) * g for v, g in zip(mcd[1].split(","), white["d65_gains"], strict=True)]
    chip = wall.chip.replace(mcd[0], f"intensity_mcd = {[round(v, 3) for v in gained]}")
    balanced = ask(replace(wall, chip=chip)).data["white"]
    away = float(np.hypot(balanced["x"] - 0.31271, balanced["y"] - 0.32902))  # CIE 15: D65
    if away > 5e-4:
        faults.append(f"gains for D65 give x {balanced['x']:.4f} y {balanced['y']:.4f}")
    return faults


def _judge_monotone(wall: Wall, data: Any) -> list[str]:
    """Deeper, smaller openings and larger sources are more even; off centre is less."""
    wall = replace(wall, off=0.0, opening=wall.opening or wall.pitch)
    opening = wall.opening or wall.pitch

    def even(changed: Wall) -> float:
        return float(ask(changed).data["figures"]["min_to_mean"])

    base, faults = even(wall), []
    rises = {
        "deeper": replace(wall, depth=wall.depth * 1.1),
        "smaller opening": replace(wall, opening=opening * 0.93),
        "larger source": replace(wall, emitter=min((wall.emitter or 0) + 0.1 * opening, opening)),
        "white walls": replace(wall, walls="white"),
    }
    falls = {"off centre": replace(wall, off=round(0.1 * opening, 3))}
    same = {
        "further away": replace(wall, distance=wall.distance * 3),
        "more scatter": replace(wall, scatter=wall.scatter + 2),
    }
    faults += [
        f"{w}: {base:.4f} → {e:.4f}" for w, c in rises.items() if (e := even(c)) < base - 1e-4
    ]
    faults += [
        f"{w}: {base:.4f} → {e:.4f}" for w, c in falls.items() if (e := even(c)) > base + 1e-4
    ]
    faults += [f"{w}: {base:.4f} → {e:.4f}" for w, c in same.items() if abs(even(c) - base) > 1e-3
               for e in [even(c)]]  # fmt: skip
    curve = data["depths"]["min_to_mean"]
    if made_worse := [n for n in range(1, len(curve)) if curve[n] < curve[n - 1] - 1e-4]:
        at = data["depths"]["depth_mm"]
        faults.append(f"chart falls from {at[made_worse[0] - 1]} to {at[made_worse[0]]} mm")
    return faults


def faults(n: int) -> list[str]:
    """Run case `n`, and tell what is wrong."""
    made = case(n)
    return judge(made, ask(made.wall))


def story(n: int) -> str:
    return case(n).kind + f" {case(n).wall}"
