"""The current an LED takes at its own supply voltage.

Each channel is a constant-current sink under PWM. It holds its current while the voltage leaves
it headroom: I = duty · I_nominal · h((V − Vf) / dropout), with h(x) = 0 below 0, x²(3 − 2x)
from 0 to 1, and 1 above. No datasheet gives the curve between; this one is monotonic and has no
corner, so Newton's method converges on it. Red has the lowest Vf, so it dims last. The chip's
own (dark) current is constant from the lowest Vf on. Below that it falls to 0 at 0 V, as
q(x) = 2x − x².

Not modelled: temperature, the spread between parts, a chip that loses its data at a low voltage.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Floats
from emulator.description.chips import Chip


def duty(drives: Bytes, chip: Chip) -> Floats:
    """PWM duty 0…1 of each light-giving channel (…, N, L) for drives (…, N, C) in drives order.

    A common intensity scales the others and does not count as a channel: L is 3 or 4.
    """
    if chip.channels == "RGBI":
        return np.asarray(drives[..., :3] / 255 * (drives[..., 3:] / 31))
    return np.asarray(drives / 255)


def headroom(volts: Floats, chip: Chip) -> Floats:
    """Share 0…1 (…, L) of its nominal current that each channel holds at LED voltages (…). [V]"""
    share = np.empty((*volts.shape, len(chip.channel_forward_v)))
    for forward_v in set(chip.channel_forward_v):
        rise = _rise(_between((volts - forward_v) / chip.dropout_v))
        for channel in _with_volts(forward_v, chip):
            share[..., channel] = rise
    return share


def _with_volts(forward_v: float, chip: Chip) -> list[int]:
    """The channels of a forward voltage. One at a time is fast: numpy is slow over short axes."""
    return [number for number, v in enumerate(chip.channel_forward_v) if v == forward_v]


@dataclass(frozen=True)
class Loads:
    """The loads of N LEDs in T frames, for any voltage.

    Channels with the same forward voltage are summed. full_a: (K, N, T) current of each such group
    with full headroom. forward_v: (K,) their forward voltages. dark_a, dark_v: current of the chip
    itself, and the voltage from which on it takes all of that.
    """

    full_a: Floats
    forward_v: tuple[float, ...]
    dropout_v: float
    dark_a: float
    dark_v: float

    @classmethod
    def of(cls, drives: Bytes, chip: Chip) -> Loads:
        """The loads of drives (T, N, C)."""
        duties = duty(drives, chip) * (chip.channel_ma / 1000)
        forward_v = tuple(sorted(set(chip.channel_forward_v)))
        groups = ([duties[..., channel] for channel in _with_volts(v, chip)] for v in forward_v)
        full_a = np.stack([reduce(np.add, group).T for group in groups])
        return cls(
            full_a, forward_v, chip.dropout_v, chip.dark_ma / 1000, min(chip.channel_forward_v)
        )

    def frames(self, which: NDArray[np.intp] | slice) -> Loads:
        """The loads of some of the T frames."""
        return Loads(
            self.full_a[..., which], self.forward_v, self.dropout_v, self.dark_a, self.dark_v
        )

    def current_a(self, volts: Floats) -> Floats:
        """Current (N, T) of each LED at its voltage (N, T), in amperes."""
        lowest = volts.min(initial=np.inf)
        total = np.full(volts.shape, self.dark_a)
        if lowest < self.dark_v:
            x = np.minimum(volts / self.dark_v, 1)
            # Below 0 V the law continues as a straight line: only iterates of the solver get there.
            total *= np.where(x > 0, x * (2 - x), 2 * x)
        for full, forward in zip(self.full_a, self.forward_v, strict=True):
            if lowest >= forward + self.dropout_v:
                total += full
            else:
                share = _rise(_between((volts - forward) / self.dropout_v))
                share *= full
                total += share
        return total

    def slope_s(self, volts: Floats) -> Floats:
        """Derivative (N, T) of `current_a` with respect to the voltage, in siemens; never < 0."""
        lowest = volts.min(initial=np.inf)
        total = np.zeros(volts.shape)
        if lowest < self.dark_v:
            total += 2 * self.dark_a / self.dark_v * (1 - _between(volts / self.dark_v))
        for full, forward in zip(self.full_a, self.forward_v, strict=True):
            if lowest < forward + self.dropout_v:
                share = _between((volts - forward) / self.dropout_v)
                share *= 1 - share
                share *= full
                share *= 6 / self.dropout_v
                total += share
        return total


def _between(x: Floats) -> Floats:
    """x, at least 0 and at most 1; for a few LEDs several times as fast as np.clip."""
    most = np.maximum(x, 0)
    return np.asarray(np.minimum(most, 1, out=most if most.ndim else None))


def _rise(x: Floats) -> Floats:
    rise = -2 * x
    rise += 3
    rise *= x
    rise *= x
    return np.asarray(rise)
