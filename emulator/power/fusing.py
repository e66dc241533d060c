"""The largest current of each wire, its ampacity, and the fuse at its start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bytes, Floats
from emulator.description.display import Display
from emulator.power.balance import balance
from emulator.power.network import Network, Wire
from emulator.power.solve import Rails, solve_rails
from emulator.power.wire import FUSE_MARGIN, ampacity_a, bears, fuse_a
from emulator.power.worst import uniform_drives


@dataclass(frozen=True, eq=False)
class Peaks:
    """The largest current of each wire (W,), with the drop over the pair and the heat at it.

    rails: the solved frames, with supplies that hold their volts at any current.
    """

    current_a: Floats
    drop_v: Floats
    loss_w: Floats
    rails: Rails


def wire_peaks(
    display: Display, network: Network, frames: Bytes, limit_a: float | None = None
) -> Peaks:
    """The peaks over frames (T, N, C). No wire carries more than `limit_a` of the whole display."""
    rails = solve_rails(network, frames, display.chip, np.inf)
    sums = balance(network, rails)
    frame = sums.wire_current_a.argmax(axis=0)
    every = np.arange(len(network.wires))
    amps = sums.wire_current_a[frame, every]
    part = np.minimum(1, (limit_a or np.inf) / np.maximum(amps, 1e-12))
    return Peaks(
        amps * part,
        sums.wire_drop_v[frame, every] * part,
        sums.wire_loss_w[frame, every] * part**2,
        rails,
    )


def spread_frames(display: Display) -> Bytes:
    """uint8 (5, N, C): white everywhere, on even and on odd runs, and on each half of the LEDs.

    A wire between two equal places carries nothing when all is lit, but does when half is lit.
    """
    white, dark = uniform_drives(display, 1.0)[0], uniform_drives(display, 0.0)[0]
    odd = display.wiring.run % 2 == 1
    half = np.arange(display.leds) * 2 >= display.leds
    lit = np.stack([np.ones_like(odd), odd, ~odd, half, ~half])
    frames: Bytes = np.where(lit[..., None], white, dark)
    return frames


@dataclass(frozen=True)
class Fusing:
    """The ampacity of a wire and the fuse at its start.

    ampacity_a: guidance; None if there is none. fuse_a: the rating; None if the wire needs no fuse
    or none fits. bears_supply: the wire can carry all that its supply gives, so it needs no fuse.
    unprotected: it needs a fuse and none fits. roomy: it can carry its current with a margin.
    """

    ampacity_a: float | None
    fuse_a: float | None
    bears_supply: bool
    unprotected: bool
    roomy: bool

    @property
    def sound(self) -> bool:
        """Whether the wire can carry its current with a margin, and has the fuse it needs."""
        return self.roomy and not self.unprotected


def fusing(wire: Wire, current_a: float, supply_a: float | None) -> Fusing:
    """The fusing of a wire. Guidance only: see `wire.CAUTION`.

    current_a: the largest current it can carry in use. supply_a: the most that its supply gives;
    None: no supply feeds it.
    """
    if wire.area_mm2 is None:
        return Fusing(None, None, False, False, True)
    most = float(ampacity_a(wire.area_mm2))
    given_a = np.inf if supply_a is None else supply_a
    all_borne = bears(wire.area_mm2, given_a)
    fuse = fuse_a(current_a, wire.area_mm2, given_a) if wire.begins else None
    return Fusing(
        None if np.isnan(most) else most,
        fuse,
        all_borne,
        wire.begins and fuse is None and not all_borne,
        FUSE_MARGIN * current_a <= most,
    )
