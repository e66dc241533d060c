"""Volts on both conductors of a wall, by Kirchhoff's laws: dense matrices and Newton's method.

Conductors: AWG by ASTM B258, annealed copper 1/58 Ω·mm²/m at 20 °C (IEC 60028). Loads: the law that
`emulator/power/README.md` and `load.py` state: a channel holds its current down to its forward
voltage + dropout, and below that falls as x²(3 − 2x); the chip's own current falls as 2x − x² below
the lowest forward voltage.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

Edge = tuple[int, int, float]  # two nodes and the ohms between them; inf: open
FORWARD_V, DROPOUT_V, CHANNEL_A, DARK_A = (2.1, 3.2, 3.2, 3.2), 0.4, 0.02, 0.001


def copper_ohm(awg: float, length_m: float) -> float:
    """One conductor."""
    return length_m / 58 / (np.pi / 4 * (0.127 * 92 ** ((36 - awg) / 39)) ** 2)


@dataclass
class Circuit:
    """Edges of the + and of the ground conductor, over the same nodes.

    These are the LEDs, then the terminal of the supply, then the taps of the bus.
    """

    leds: int
    nodes: int
    lengths_m: list[tuple[float, float]] = field(default_factory=list)  # feed, its piece of bus
    plus: dict[str, Edge] = field(default_factory=dict)
    ground: dict[str, Edge] = field(default_factory=dict)
    volts: float = 5.0
    source_ohm: float = 0.0
    amps: float = 1e9

    @property
    def terminal(self) -> int:
        return self.leds

    def both(self, name: str, a: int, b: int, ohm: float) -> None:
        self.plus[name] = (a, b, ohm)
        self.ground[name] = (a, b, ohm)

    def add_ohm(self, conductor: str, name: str, ohm: float) -> None:
        edges = self.plus if conductor == "plus" else self.ground
        a, b, had = edges[name]
        edges[name] = (a, b, had + ohm)

    def solve(self, duty: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Volts (N,) of each LED, and potentials of its ground and + node, for duties (N, L)."""
        at = self.volts
        solved = self._at(duty, at)
        if self.amps < 1e9 and solved[3] > self.amps:  # folds back: its amperes at fewer volts
            low, high = 0.0, at
            for _ in range(60):
                at = (low + high) / 2
                solved = self._at(duty, at)
                low, high = (low, at) if solved[3] > self.amps else (at, high)
        return solved[:3]

    def _at(self, duty: np.ndarray, volts: float):
        n, m = self.leds, self.nodes
        g = np.zeros((2 * m, 2 * m))
        for shift, edges in ((0, self.plus), (m, self.ground)):
            for a, b, ohm in edges.values():
                if np.isfinite(ohm):
                    s = 1 / max(ohm, 1e-9)
                    for i, j, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
                        g[i + shift, j + shift] += sign * s
        g += np.eye(2 * m) * 1e-13  # a node that nothing holds
        inject = np.zeros(2 * m)
        hold = 1 / max(self.source_ohm, 1e-7)
        g[self.terminal, self.terminal] += hold
        inject[self.terminal] = hold * volts
        g[m + self.terminal, m + self.terminal] += 1e9
        v = np.zeros(2 * m)
        v[:m] = volts
        for _ in range(200):
            drop = v[:n] - v[m : m + n]
            current, slope = load(drop, duty)
            out = g @ v - inject
            out[:n] += current
            out[m : m + n] -= current
            jacobian = g.copy()
            k = np.arange(n)
            jacobian[k, k] += slope
            jacobian[k, k + m] -= slope
            jacobian[k + m, k + m] += slope
            jacobian[k + m, k] -= slope
            step = np.linalg.solve(jacobian, out)
            size = np.abs(step).max()
            v -= step * min(1, 0.2 / max(size, 1e-12))
            if size < 1e-10:
                break
        else:
            raise ArithmeticError("no solution")
        drop = v[:n] - v[m : m + n]
        return drop, v[m : m + n], v[:n], hold * (volts - v[self.terminal])


def load(volts: np.ndarray, duty: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Current (N,) and its slope at these volts (N,), for duties (N, L)."""
    x = np.minimum(volts / min(FORWARD_V), 1)
    current = DARK_A * np.where(x > 0, 2 * x - x * x, 2 * x)
    slope = 2 * DARK_A / min(FORWARD_V) * (1 - np.clip(x, 0, 1)) + 1e-12
    for channel in range(duty.shape[1]):
        y = np.clip((volts - FORWARD_V[channel]) / DROPOUT_V, 0, 1)
        current = current + CHANNEL_A * duty[:, channel] * y * y * (3 - 2 * y)
        slope = slope + CHANNEL_A * duty[:, channel] * 6 * y * (1 - y) / DROPOUT_V
    return current, slope
