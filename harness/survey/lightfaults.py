"""The faults that weak LEDs and pieces of other light point to."""

from __future__ import annotations

import numpy as np

from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.description.faults.light import FrontDirty
from emulator.description.faults.strip import ChannelWeak, OtherBatch
from harness.survey.causes import Cause
from harness.survey.shades import COLOURS, Piece, Shades


def light_causes(shades: Shades, display: Display) -> list[Cause]:
    """A cause for each weak LED or channel, and for each piece."""
    found = [Cause(_of_piece(one, display), np.arange(one.first, one.last + 1))
             for one in shades.pieces]  # fmt: skip
    for at in np.flatnonzero(shades.weak.any(axis=1)).tolist():
        leds = np.array([at])
        if shades.weak[at, :3].all():
            found.append(
                Cause((_dirty(at, at, float(shades.light[at, :3].mean()), display),), leds)
            )
            continue
        for channel in np.flatnonzero(shades.weak[at]).tolist():
            level = _two_digits(shades.light[at, channel])
            line, led = int(display.wiring.line[at]), int(display.wiring.led[at])
            weak = ChannelWeak(line=line, led=led, channel=COLOURS[channel], level=level)
            found.append(Cause((weak,), leds))
    return found


def _of_piece(piece: Piece, display: Display) -> tuple[Fault, ...]:
    wiring = display.wiring
    red, green, blue = map(_two_digits, piece.light[:3])
    batch = OtherBatch(
        line=int(wiring.line[piece.first]), first=int(wiring.led[piece.first]),
        last=int(wiring.led[piece.last]), red=red, green=green, blue=blue,
    )  # fmt: skip
    straight = wiring.run[piece.first] == wiring.run[piece.last]
    if piece.cast or not straight or piece.light.mean() > 1:
        return (batch,)
    return _dirty(piece.first, piece.last, float(piece.light.mean()), display), batch


def _dirty(first: int, last: int, light: float, display: Display) -> FrontDirty:
    """A dirty front before the cells of a straight piece."""
    columns, rows = (
        np.sort(of[[first, last]]) for of in (display.wiring.column, display.wiring.row)
    )
    return FrontDirty(
        column=int(columns[0]), row=int(rows[0]), columns=int(np.ptp(columns)) + 1,
        rows=int(np.ptp(rows)) + 1, passes=_two_digits(light),
    )  # fmt: skip


def _two_digits(light: float) -> float:
    return round(float(light), 2)
