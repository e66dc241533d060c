"""Which colour each cell shows while the whole wall should be red, green or blue.

A camera balances its white, and LEDs of one colour are brighter than those of another. So how
bright a channel is says nothing: of the six orders of three colours, the one counts whose light is
largest as a product over the three pictures. No factor of a picture, or of a channel of the camera,
changes which one that is.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from typing import NamedTuple

import numpy as np

from emulator.arrays import Floats, Ints
from emulator.description.chips import all_chips
from emulator.description.display import Display
from emulator.description.faults.built import high_times_ns
from emulator.description.faults.fault import Fault
from emulator.description.faults.strip import OtherChip
from harness.survey.seen import Seen

_ORDERS = np.array(list(permutations(range(3))))  # (6, 3); the first is as planned
_CLEAR = 4.0  # times the light of the next order, as a product
_FLOOR = 0.02  # of a colour's usual light: less is noise
_LIT = 0.1  # of the usual light, together: a cell that shows something
_SPILL = 0.5  # of a colour's usual light: less in its picture may be another colour's
_WHOLE, _FEW = 0.9, 5  # share and number of the cells that agree, so that it is the whole wall

UNCLEAR = -1


class Order(NamedTuple):
    """For the red, the green and the blue picture, which colour the wall shows: 0, 1, 2."""

    red: int = 0
    green: int = 1
    blue: int = 2


PLANNED = Order()


def in_order(seen: Seen) -> tuple[Seen, Order]:
    """What the film shows, with `light` that of the colours that the whole wall shows in these
    pictures, 0 for a cell that shows another; and that order."""
    order = _orders(seen.hues)
    known = order[order != UNCLEAR]
    whole = PLANNED
    if known.size >= _FEW:
        counts = np.bincount(known, minlength=len(_ORDERS))
        if counts.max() >= _WHOLE * known.size:
            whole = Order(*_ORDERS[counts.argmax()].tolist())
    light = seen.light
    if whole != PLANNED:
        light = np.stack([seen.hues[..., k, one] for k, one in enumerate(whole)], axis=2)
        usual = np.nanmedian(light[~seen.display.gap], axis=0)
        light = light / np.maximum(usual, 1e-9)
    another = (order != UNCLEAR)[..., None] & (_ORDERS[order] != np.array(whole))
    return replace(seen, light=np.where(another & (light < _SPILL), 0.0, light)), whole


def _orders(hues: Floats) -> Ints:
    """(rows, columns) the order that each cell shows, a number of _ORDERS, or UNCLEAR."""
    known = np.asarray(np.isfinite(hues).all(axis=(2, 3)))
    orders = np.full(known.shape, UNCLEAR)
    if not known.any():
        return orders
    cells = hues[known]
    usual = np.median(cells.max(axis=2), axis=0)  # of each picture
    lit = cells.max(axis=2).sum(axis=1) > _LIT * usual.sum()
    log = np.log(np.maximum(cells, _FLOOR * np.maximum(usual, 1e-9)[:, None]))
    fits = np.stack([log[:, range(3), one].sum(axis=1) for one in _ORDERS], axis=1)
    first, second = np.sort(fits, axis=1)[:, :-3:-1].T
    clear = lit & (first - second > np.log(_CLEAR))
    orders[known] = np.where(clear, fits.argmax(axis=1), UNCLEAR)
    return orders


def letters_for(order: Order, display: Display) -> str:
    """The `order` of [chip] with which the colours are right."""
    shows = {"RGB"[k]: "RGB"[one] for k, one in enumerate(order)}
    return "".join(shows.get(letter, letter) for letter in display.chip.order)


def other_chips(order: Order, display: Display, line: int) -> tuple[Fault, ...]:
    """Parts that would have a line show its colours in an order, if it is of them as a whole."""
    mine, letters = display.chip, letters_for(order, display)
    zero_ns, one_ns, _ = high_times_ns(mine)
    parts = [
        one.part
        for one in all_chips()
        if one.order == letters
        and one.part != mine.part
        and zero_ns <= high_times_ns(one)[2] <= one_ns  # else it would not read this data
    ]
    last = display.wiring.line_lengths[line] - 1
    found = (OtherChip(line=line, first=0, last=last, chip=part) for part in parts)
    return tuple(one for one in found if not any(one.judge(display)))
