"""The pictures that load the wires worst, within a current limit.

Within a limit the whole wall can be dim white, or a part of it full white: on one supply, at the
end of one strip. The network itself shows which part lowers the voltage of an LED most. By
reciprocity, the drop that this LED alone causes at another is the drop that the other causes at it.
So the limit is spent on the LEDs with the largest drops, the last of them lit in part. While LEDs
hold their current, no picture is worse for that LED. The LEDs tried are the lowest one of each run,
then those that the pictures found this way lower most.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Bytes, Floats
from emulator.canvas import current_a, limit_current
from emulator.canvas.current import dark_a
from emulator.description.display import Display
from emulator.power.network import Network
from emulator.power.solve import solve_rails

_MOST_WEIGHED = 128  # LEDs, one a run
_MOST_TRIED = 24  # of them, those that a picture would make lowest
_ROUNDS = 2  # a picture may make another LED the lowest, for which a worse picture exists


def uniform_drives(display: Display, level: float) -> Bytes:
    """One frame, uint8 (1, N, C), with every channel of every LED at `level` 0…1; I is full.

    Hidden LEDs are dark, as in every picture.
    """
    channels = display.chip.channels
    drives = np.full((1, display.leds, len(channels)), round(255 * level), dtype=np.uint8)
    drives[:, display.wiring.hidden] = 0
    if "I" in channels:
        drives[..., channels.index("I")] = 31
    return drives


def worst_frames(display: Display, network: Network, limit_a: float | None) -> Bytes:
    """uint8 (K, N, C): full white; within a limit, dimmed white and white on the worst parts."""
    chip, white, dark = display.chip, uniform_drives(display, 1.0), uniform_drives(display, 0.0)
    if limit_a is None or limit_a >= float(current_a(white, chip)[0]):
        return white
    rails = solve_rails(network, np.concatenate([white, dark]), chip, np.inf)
    lit, unlit = rails.led_volts
    spent = _spent(display, limit_a)
    amps = current_a(spent[:, None], chip) - dark_a(1, chip)
    lowest = np.array([at[lit[at].argmin()] for at in _by_run(display.wiring.run)])
    tried = lowest[np.argsort(lit[lowest], kind="stable")[:_MOST_WEIGHED]]
    for _ in range(_ROUNDS):
        heaviest_first, reached = _weighed(network, tried, amps, unlit, display.wiring.hidden)
        best = np.argsort(reached, kind="stable")[:_MOST_TRIED]
        heaviest_first = heaviest_first[best]
        taken = np.zeros(heaviest_first.shape)
        np.put_along_axis(taken, heaviest_first, amps[None], axis=1)
        pulled_lowest = (unlit - network.drops_v(taken)).argmin(axis=1)
        tried = np.unique(np.concatenate([tried[best], pulled_lowest]))
    parts = np.repeat(dark, len(heaviest_first), axis=0)
    np.put_along_axis(parts, heaviest_first[..., None], spent[None], axis=1)
    least_a = dark_a(display.leds, chip) + 1e-9
    return np.concatenate([limit_current(white, chip, max(limit_a, least_a)), parts])


def _weighed(
    network: Network, tried: NDArray[np.int64], amps: Floats, unlit: Floats, hidden: Bools
) -> tuple[NDArray[np.int64], Floats]:
    """For each of the LEDs tried (K,), all LEDs (K, N) in the order of the drop they cause at it;
    and its voltage (K,) if they take `amps` (N,) in that order. unlit: (N,) volts in the dark.
    hidden: (N,) LEDs that no picture lights; they come last."""
    ampere = np.zeros((len(tried), network.leds))
    ampere[np.arange(len(tried)), tried] = 1
    ohm = network.drops_v(ampere)  # each tried LED's drop at all others, so theirs at it
    heaviest_first = np.argsort(np.where(hidden, np.inf, -ohm), axis=1, kind="stable")
    return heaviest_first, unlit[tried] - np.take_along_axis(ohm, heaviest_first, axis=1) @ amps


def _spent(display: Display, limit_a: float) -> Bytes:
    """uint8 (N, C): drives that take the limit: some LEDs full white, one in part, the others dark.

    The unused current is less than that of one drive step of one channel.
    """
    chip = display.chip
    drives: Bytes = uniform_drives(display, 0.0)[0]
    lit = drives.shape[1] - ("I" in chip.channels)
    a_step = chip.channel_ma / 1000 / 255
    steps = int((limit_a - dark_a(display.leds, chip)) / a_step * (1 - 1e-12))
    before = 255 * np.arange(display.leds * lit)
    drives[:, :lit] = np.clip(steps - before, 0, 255).reshape(-1, lit)
    return drives


def _by_run(run: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Positions of the LEDs of each run."""
    return np.split(np.arange(run.size), np.flatnonzero(np.diff(run)) + 1)
