"""Faults of single LEDs and of the channels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from emulator.description.wiring import Wiring
from harness.mistakes.built import shown_as_built
from harness.mistakes.fault import Generator
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT


@dataclass(frozen=True)
class Double:
    """An LED shows the cell of the one before it in the chain as well, and its own is lost."""

    led: int
    what: ClassVar[str] = "two LEDs show the same cell"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        out[self.led] = cells[self.led - 1]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        return cls(int(rng.integers(1, len(wiring)))) if len(wiring) > 1 else None


@dataclass(frozen=True)
class _OneLed:
    """One LED (position) shows a mark, whatever data it gets."""

    led: int
    mark: ClassVar[int]

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        out[self.led] = self.mark
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        return cls(int(rng.integers(len(wiring)))) if len(wiring) else None


@dataclass(frozen=True)
class Dead(_OneLed):
    """An LED that never lights, but passes its data on."""

    mark: ClassVar[int] = NEVER_LIT
    what: ClassVar[str] = "an LED is never lit"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        """As a fault of the built wall."""
        place = f"line={wiring.line[self.led]} led={wiring.led[self.led]}"
        return shown_as_built(f"led-dark {place}", cells, wiring)


@dataclass(frozen=True)
class Stuck(_OneLed):
    """An LED that is always lit."""

    mark: ClassVar[int] = ALWAYS_LIT
    what: ClassVar[str] = "an LED is always lit"


ORDERS = ((0, 2, 1), (1, 0, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1))  # of red, green, blue: wrong ones


@dataclass(frozen=True)
class ChannelsPermuted:
    """Channel c shows the light meant for channel order[c]; channels are red, green, blue."""

    order: tuple[int, int, int]
    what: ClassVar[str] = "the channel order is wrong"

    def apply(self, light: NDArray[np.float64]) -> NDArray[np.float64]:
        """Light (..., 3) with its channels in the wrong places."""
        return light[..., list(self.order)]

    @classmethod
    def example(cls, rng: Generator) -> Self:
        return cls(ORDERS[rng.integers(len(ORDERS))])
