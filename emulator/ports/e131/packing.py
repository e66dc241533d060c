"""Which universe and slot each byte of each LED travels in.

The standard does not say which LED is where in the universes, so both sides must agree on it: on
the first universe, on whether an LED may be split between two universes, and on the order of its
bytes. LEDs are packed in the order of the display's numbering, line after line.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes
from emulator.description.display import Display
from emulator.errors import OutOfRangeError, UnknownNameError
from emulator.ports.e131.packet import MOST_UNIVERSE, SLOTS

Style = Literal["whole", "continuous"]
_FULL_INTENSITY = 31  # of the common intensity of APA102 and similar chips, 5 bits


@dataclass(frozen=True)
class Packing:
    """LED → universe and slot, for N LEDs with drives in the order `channels` (R G B, then W or I).

    order: the order of an LED's bytes in the slots, e.g. 'RGB' or 'GRBW': the letters of
    `channels`, of which I may be left out. R, G and B are then scaled by it.
    style: 'whole' keeps each LED in one universe (170 of three bytes, 128 of four);
    'continuous' fills all 512 slots, so that an LED may be split between two.

    Raises OutOfRangeError if the order does not fit or there are not enough universes.
    """

    leds: int
    channels: str
    order: str
    first_universe: int = 1
    style: Style = "whole"

    def __post_init__(self) -> None:
        if self.style not in get_args(Style):
            raise UnknownNameError("packing", self.style, get_args(Style))
        wanted = sorted(self.channels)
        if sorted(self.order) not in (wanted, [letter for letter in wanted if letter != "I"]):
            raise OutOfRangeError(
                f"the order '{self.order}' does not fit LEDs with the channels {self.channels}",
                fix=f"give the letters {self.channels} in any order"
                + (", or leave out the I." if "I" in self.channels else "."),
            )
        if not 1 <= self.first_universe <= MOST_UNIVERSE - self.universes + 1:
            raise OutOfRangeError(
                f"{self.leds} LEDs from universe {self.first_universe} on take"
                f" {self.universes} universe(s), and universes go from 1 to {MOST_UNIVERSE}",
                fix=f"begin at a universe from 1 to {MOST_UNIVERSE - self.universes + 1}.",
            )

    @classmethod
    def of(
        cls,
        display: Display,
        first_universe: int = 1,
        style: Style = "whole",
        order: str | None = None,
    ) -> Packing:
        """The packing of a display; the default order is R G B, then W or I.

        Raises OutOfRangeError and UnknownNameError.
        """
        channels = display.chip.channels
        return cls(display.leds, channels, order or channels, first_universe, style)

    @property
    def leds_each(self) -> int:
        """How many whole LEDs fit into one universe."""
        return SLOTS // len(self.order)

    @property
    def universes(self) -> int:
        """How many universes the LEDs take."""
        if self.style == "whole":
            return -(-self.leds // self.leds_each)
        return -(-self.leds * len(self.order) // SLOTS)

    @cached_property
    def _places(self) -> NDArray[np.int64]:
        """(N, bytes an LED): the place of each byte, counted through all universes."""
        size = len(self.order)
        first = np.arange(self.leds, dtype=np.int64)
        if self.style == "whole":
            first = first // self.leds_each * SLOTS + first % self.leds_each * size
        else:
            first *= size
        return first[:, None] + np.arange(size)

    @property
    def universe(self) -> NDArray[np.int64]:
        """(N, bytes an LED): the universe of each byte, in the order of `order`."""
        return self.first_universe + self._places // SLOTS

    @property
    def slot(self) -> NDArray[np.int64]:
        """(N, bytes an LED): the slot of each byte, 1 to 512 as ANSI E1.11 counts them."""
        return 1 + self._places % SLOTS

    @cached_property
    def slots(self) -> tuple[int, ...]:
        """How many slots each universe needs."""
        ends = np.zeros(self.universes, dtype=np.int64)
        np.maximum.at(ends, self._places // SLOTS, 1 + self._places % SLOTS)
        return tuple(ends.tolist())

    @cached_property
    def _channel(self) -> list[int]:
        return [self.channels.index(letter) for letter in self.order]

    def pack(self, drives: Bytes) -> Bytes:
        """Levels, uint8 (…, universes, 512), for drives (…, N, C); slots without an LED are 0."""
        levels = np.zeros((*drives.shape[:-2], self.universes * SLOTS), dtype=np.uint8)
        if len(self.order) < drives.shape[-1]:
            share = drives[..., -1:] / _FULL_INTENSITY
            drives = np.round(drives[..., :-1] * share).astype(np.uint8)
        levels[..., self._places] = drives[..., self._channel]
        return levels.reshape(*drives.shape[:-2], self.universes, SLOTS)

    def unpack(self, levels: Bytes) -> Bytes:
        """Drives, uint8 (…, N, C), for levels (…, universes, 512): the inverse of `pack`.

        An intensity that is not sent is full; one above its 5 bits becomes full, too.
        """
        flat = levels.reshape(*levels.shape[:-2], -1)
        drives = np.full(
            (*levels.shape[:-2], self.leds, len(self.channels)), _FULL_INTENSITY, dtype=np.uint8
        )
        drives[..., self._channel] = flat[..., self._places]
        if "I" in self.order:
            np.minimum(drives[..., -1], _FULL_INTENSITY, out=drives[..., -1])
        return drives
