"""Volts on strips and wires by nodal analysis, written out here: dense matrices, Kirchhoff's laws.

Conductors: AWG by ASTM B258, annealed copper 1/58 Ω·mm²/m at 20 °C and 0.00393 /K (IEC 60028).
LEDs are constant-current sinks as long as their voltage suffices; the caller makes sure of that.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float64]


def area_mm2(gauge: str) -> float:
    """Cross-section of 'AWG 18' or '2.5 mm²'."""
    number = float(re.findall(r"-?[\d.]+", gauge)[0])
    if "AWG" in gauge:
        return float(np.pi / 4 * (0.127 * 92 ** ((36 - number) / 39)) ** 2)
    return number


def pair_ohm(gauge: str, length_m: float, celsius: float) -> float:
    """There and back."""
    return 2 * length_m / 58 / area_mm2(gauge) * (1 + 0.00393 * (celsius - 20))


def runs_of(data: dict[str, Any], lines: list[list[list[int]]]) -> list[list[list[int]]]:
    """For each line the LEDs of each straight piece of strip, from the cells in order."""
    step = (1, 0) if data["wiring"]["along"] == "rows" else (0, 1)
    made = []
    for cells in lines:
        runs = [[0]]
        for n in range(1, len(cells)):
            by = tuple(abs(a - b) for a, b in zip(cells[n], cells[n - 1], strict=True))
            two = (
                len(runs[-1]) < 2
                or (
                    np.subtract(cells[n], cells[n - 1]) == np.subtract(cells[n - 1], cells[n - 2])
                ).all()
            )
            if by == step and two:
                runs[-1].append(n)
            else:
                runs.append([n])
        made.append(runs)
    return made


@dataclass
class Net:
    """LEDs first, then the nodes of buses and supplies; volts without load, and ohms."""

    idle: Field  # volts of each LED where no current flows
    ohm: Field  # (LEDs, LEDs): drop at the first for an ampere at the second
    leds: int

    def volts(self, amps: Field) -> Field:
        """Of each LED; `amps` of each LED."""
        return self.idle - self.ohm @ amps

    def worst(self, each: Field, most_a: float) -> float:
        """Lowest volts of any LED, by any picture that takes up to `each` and `most_a` together."""
        order = np.argsort(-self.ohm, axis=1, kind="stable")
        taken = np.clip(most_a - (np.cumsum(each[order], axis=1) - each[order]), 0, each[order])
        drop = (np.take_along_axis(self.ohm, order, 1) * taken).sum(axis=1)
        return float((self.idle - drop).min())


def build(
    data: dict[str, Any], lines: list[list[list[int]]], wires: list[dict[str, Any]], volts: float
) -> Net:
    """The network of a file whose feeds are listed; lengths and gauges by the wire table."""
    power, grid = data["power"], data["grid"]
    warm = power.get("copper_c", 20.0)
    pitch = grid.get("pitch_mm", 100 / 3)
    if data["wiring"]["along"] == "columns":
        pitch = grid.get("row_pitch_mm", pitch)
    rail = 2 * power.get("rail_ohm_per_m", 0.0985) * pitch / 1e3 * (1 + 0.00393 * (warm - 20))
    begin = np.cumsum([0, *(len(cells) for cells in lines)])
    leds = int(begin[-1])
    links: list[tuple[int, int, float]] = []
    jumper = power.get("jumper")
    for start, runs in zip(begin, runs_of(data, lines), strict=False):
        for run in runs:
            links += [(start + n, start + n + 1, rail) for n in run[:-1]]
        if jumper:
            gauge = f"{jumper['mm2']} mm²" if "mm2" in jumper else f"AWG {jumper.get('awg', 18)}"
            ohm = pair_ohm(gauge, jumper.get("length_m", 0.1), warm)
            ohm += 2 * jumper.get("connector_mohm", 0.0) / 1e3
            links += [(start + a[-1], start + b[0], ohm) for a, b in pairwise(runs)]
    feeds, supplies = power["feed"], power.get("supply") or [{}]
    source = leds + 2 * len(feeds)
    nodes = source + 2 * len(supplies)
    by_name = {w["name"]: w for w in wires}
    last = {n: source + 2 * n for n in range(len(supplies))}
    bussed = {b.get("supply", 0) for b in power.get("bus", [])}
    for n, feed in enumerate(feeds):
        supply, line = feed.get("supply", 0), feed.get("line", 0)
        at = source + 2 * supply
        if supply in bussed:
            at = leds + 2 * n
            bus = next(w for k, w in by_name.items() if k.startswith("bus of") and
                       k.endswith(f", to feed {n}"))  # fmt: skip
            links.append((last[supply], at, pair_ohm(bus["gauge"], bus["length_m"], warm)))
            last[supply] = at
        wire = by_name[f"feed {n}, line {line} LED {feed['led']}"]
        ohm = pair_ohm(wire["gauge"], wire["length_m"], warm)
        links.append(
            (at, begin[line] + feed["led"], ohm + 2 * feed.get("connector_mohm", 5.0) / 1e3)
        )
    for n, supply in enumerate(supplies):
        links.append((source + 2 * n, source + 2 * n + 1, max(supply.get("source_ohm", 0.0), 1e-9)))
    known = np.zeros(nodes)
    known[source + 1 :: 2] = [s.get("volts", volts) for s in supplies]
    return _solve(links, nodes, source + 1 + 2 * np.arange(len(supplies)), known, leds)


def _solve(
    links: list[tuple[int, int, float]],
    nodes: int,
    fixed: NDArray[np.int64],
    known: Field,
    leds: int,
) -> Net:
    conductance = np.zeros((nodes, nodes))
    for a, b, ohm in links:
        conductance[a, b] -= 1 / ohm
        conductance[b, a] -= 1 / ohm
        conductance[a, a] += 1 / ohm
        conductance[b, b] += 1 / ohm
    free = np.setdiff1d(np.flatnonzero(conductance.diagonal() > 0), fixed)
    inverse = np.linalg.inv(conductance[np.ix_(free, free)])
    idle = np.zeros(nodes)
    idle[free] = -inverse @ conductance[np.ix_(free, fixed)] @ known[fixed]
    assert (free[:leds] == np.arange(leds)).all(), "an LED without a wire"
    return Net(idle[:leds], inverse[:leds, :leds], leds)
