"""What a data line does: edges in ns, from bytes, by the datasheets.

Sources: timings WS2812B, WS2812B-V5, WS2813B, SK6812, SK6812RGBW, WS2811 and WS2815 datasheets
(V5, WS2811 and WS2815 from memory); frames APA102 and WS2801 datasheets; LPD8806 from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FOREVER = 1e12


@dataclass(frozen=True)
class OneWire:
    """Least and most of each pulse, and the low that latches, in ns."""

    t0h: tuple[float, float]
    t0l: tuple[float, float]
    t1h: tuple[float, float]
    t1l: tuple[float, float]
    reset: float
    bits: int = 24

    def limits(self, name: str) -> tuple[float, float]:
        return {"t0h": self.t0h, "t0l": self.t0l, "t1h": self.t1h, "t1l": self.t1l}[name]


def _about(t0h: float, t0l: float, t1h: float, t1l: float, reset: float, bits: int = 24) -> OneWire:
    def around(nominal: float) -> tuple[float, float]:
        return nominal - 150, nominal + 150

    return OneWire(around(t0h), around(t0l), around(t1h), around(t1l), reset, bits)


_FIFTH = ((220.0, 380.0), (580.0, 1000.0), (580.0, 1000.0), (220.0, 420.0), 280e3)
ONE_WIRE = {
    "WS2812B": _about(400, 850, 800, 450, 50e3),
    "WS2812B-V5": OneWire(*_FIFTH),
    "WS2813B": OneWire((300, 450), (300, 100e3), (750, 1000), (300, 100e3), 300e3),
    "SK6812": _about(300, 900, 600, 600, 80e3),
    "SK6812-RGBW": _about(300, 900, 600, 600, 80e3, 32),
    "WS2811-LOW": _about(500, 2000, 1200, 1300, 50e3),
    "WS2811-HIGH": _about(250, 1000, 600, 650, 50e3),
    "WS2815": OneWire(*_FIFTH),
}
CLOCKED = ("APA102", "SK9822", "WS2801", "LPD8806")


@dataclass
class Line:
    """A line: its edges in ns (the first rises), the end of what is seen, and what is true of it.

    `worst_ns` is how far the worst pulse is inside its limits (less than 0: outside), by symbol.
    """

    edges: NDArray[np.float64]
    end_ns: float
    frames: list[bytes]
    worst_ns: dict[str, float]

    @property
    def inside_ns(self) -> float:
        return min(self.worst_ns.values(), default=FOREVER)


def one_wire(
    part: OneWire, frames: list[bytes], pulses: dict[str, float], jitter_ns: float, rest_ns: float,
    rng: np.random.Generator,
) -> Line:  # fmt: skip
    """Bytes as pulses of these lengths, each a little off at random; `rest_ns` between frames."""
    bits = [np.unpackbits(np.frombuffer(f, np.uint8)).astype(bool) for f in frames]
    edges, now = [], 0.0
    worst: dict[str, float] = {}
    for ones in bits:
        off = rng.uniform(-jitter_ns, jitter_ns, (2, ones.size))
        high = np.where(ones, pulses["t1h"], pulses["t0h"]) + off[0]
        low = np.where(ones, pulses["t1l"], pulses["t0l"]) + off[1]
        for name, of, which in (
            ("t0h", high, ~ones), ("t1h", high, ones), ("t0l", low[:-1], ~ones[:-1]),
            ("t1l", low[:-1], ones[:-1]),
        ):  # fmt: skip
            seen = of[which]
            if seen.size:
                least, most = part.limits(name)
                inside = float(min(seen.min() - least, most - seen.max()))
                worst[name] = min(worst.get(name, FOREVER), inside)
        low[-1] = rest_ns
        at = now + np.cumsum(np.stack([high, low], 1).ravel())
        edges.append(np.concatenate([[now], at[:-1]]))
        now = at[-1]
    if len(frames) > 1:
        worst["reset"] = rest_ns - part.reset
    return Line(np.concatenate(edges), now, frames, worst)


def clocked_bytes(part: str, levels: list[bytes]) -> list[bytes]:
    """Whole frames as they are sent: with start and end frames, or zeros that latch."""
    made = []
    for frame in levels:
        if part in ("APA102", "SK9822"):
            leds = len(frame) // 3
            body = b"".join(b"\xff" + frame[3 * n : 3 * n + 3] for n in range(leds))
            made.append(bytes(4) + body + b"\xff" * 4 + bytes(4 + (leds + 15) // 16))
        elif part == "LPD8806":
            made.append(bytes(b >> 1 | 0x80 for b in frame) + bytes((len(frame) // 3 + 31) // 32))
        else:
            made.append(frame)
    return made


def clocked(
    sent: list[bytes], clock_ns: float, rest_ns: float, pause_ns: float = 0
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Edges of clock and data (both start low), and the end: data change as the clock falls.

    `pause_ns` comes after each byte, as a peripheral that sends bytes one by one does.
    """
    clock, data, now, level = [], [], 0.0, 0
    for frame in sent:
        for byte in frame:
            for n in range(7, -1, -1):
                bit = byte >> n & 1
                if bit != level:
                    data.append(now)
                    level = bit
                clock += [now + clock_ns / 2, now + clock_ns]
                now += clock_ns
            now += pause_ns
        if level:
            data.append(now + clock_ns / 4)
            level = 0
        now += rest_ns
    return np.array(clock), np.array(data), now
