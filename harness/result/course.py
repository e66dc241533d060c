"""A course: what was measured over time, and its limits."""

from __future__ import annotations

from dataclasses import dataclass

from emulator.arrays import Floats


@dataclass(frozen=True)
class Course:
    """Values over time that miss a limit, to draw.

    what: its name, such as 'current asked for'. unit: of the values. times_s, values: (T,) seconds,
    and values in that unit. limits: (value, label) of each. worst: index of the value that misses
    a limit most.
    """

    what: str
    unit: str
    times_s: Floats
    values: Floats
    limits: tuple[tuple[float, str], ...]
    worst: int
