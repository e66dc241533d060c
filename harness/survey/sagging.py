"""Light that is missing because volts are: which fault of the power gives such a course of light.

With too few volts, blue and green dim before red, more so the further an LED is from a feed. The
power model says by how much, for each fault of the power that may be there; what fits the film
best is named, if it fits much better than pieces of strip with another light do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from emulator.arrays import Bytes, Floats
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.description.faults.kinds import KINDS
from emulator.description.faults.power import PowerJointBad
from emulator.power.least import nominal_a
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from harness.campaign.sagging import Walls
from harness.campaign.settled import settle
from harness.campaign.watch import data_of, sent_drives
from harness.patterns.film import film_level
from harness.survey.causes import Cause
from harness.survey.evenness import beside_smooth
from harness.survey.shades import Shades, shades
from harness.survey.suspects import possible

_EXPLAINS = 0.3  # of the squared differences that a fault may leave, so that it is named
_AS_WELL = 1.5  # times that of the best: it fits as well
_FEW = 4  # LEDs that it dims at least
_LEAST = 0.05  # natural logarithm of light: an LED that is off by less says nothing


def without_sags(
    display: Display, known: Sequence[Fault], share: Floats, flicker: Floats
) -> tuple[Shades, Cause | None]:
    """The shades of a film, and the fault of the power behind some of them; without what that
    explains.

    known: the faults of the wall. share: as `shades` takes it.
    """
    found = shades(display, share, flicker)
    if not found.pieces:
        return found, None
    candidates = [one for one in _candidates(display, found) if one not in known]
    colours = _colours(display)
    planned, courses, candidates = _courses(display, known, candidates, colours)
    if not candidates:
        return found, None
    film = np.log(np.where(found.light[:, :3] > 0.1, found.light[:, :3], np.nan))
    off = np.abs(film - planned) > _LEAST
    off |= (np.abs(courses - planned) > _LEAST).any(axis=0)
    left = np.array([np.nansum(np.where(off, film - one, 0) ** 2) for one in courses])
    pieces = film - _of_pieces(found)
    of_pieces, of_none = (np.nansum(np.where(off, one, 0) ** 2) for one in (pieces, film - planned))
    best = int(left.argmin())
    if left[best] > _EXPLAINS * of_none or left[best] > of_pieces * _AS_WELL:
        return found, None
    leds = np.flatnonzero((np.abs(courses[best] - planned) > _LEAST).any(axis=1))
    if leds.size < _FEW:
        return found, None
    alike = [
        n for n in np.argsort(left, kind="stable").tolist() if left[n] <= _AS_WELL * left[best]
    ]
    wiring = display.wiring
    corrected = share.copy()
    at = wiring.row[wiring.placed], wiring.column[wiring.placed]
    corrected[(*at, slice(3))] /= np.exp(courses[best][wiring.placed])
    rest = replace(shades(display, corrected, flicker), light=found.light)
    return rest, Cause(tuple(candidates[n] for n in alike), leds)


def _candidates(display: Display, found: Shades) -> list[Fault]:
    """Faults of feeds, buses, wires and supplies; and of joints where a piece begins or ends."""
    faults: list[Fault] = []
    for kind in KINDS.values():
        if kind.stage == "power" and kind is not PowerJointBad:
            faults += kind.everywhere(display)
    wiring = display.wiring
    for piece in found.pieces:
        for at in {piece.first - 1, piece.first, piece.last - 1, piece.last}:
            if 0 <= at < len(wiring):
                line, after = int(wiring.line[at]), int(wiring.led[at])
                faults += [
                    PowerJointBad(line=line, after=after, conductor=conductor)
                    for conductor in ("plus", "ground")
                ]
    return possible(faults, display)


def _colours(display: Display) -> Bytes:
    """Drives (3, N, C) of the film's red, green and blue pictures."""
    pictures = np.zeros((3, *display.picture_shape), dtype=np.uint8)
    pictures[np.arange(3), ..., np.arange(3)] = film_level(display)
    return sent_drives(pictures, display)


def _courses(
    display: Display, known: Sequence[Fault], candidates: Sequence[Fault], colours: Bytes
) -> tuple[Floats, Floats, list[Fault]]:
    """Logarithms of light beside the smooth surface as planned (N, 3), and (F, N, 3) with each
    candidate whose volts matter; and these."""
    loads_a = nominal_a(colours, display.chip)
    settled = list(settle(display, [(*known, one) for one in candidates], loads_a))
    which = [n for n, one in enumerate(settled) if one.manner == "sagging"]
    delivered = solve_rails(build_network(display), colours, display.chip).delivered
    own = np.arange(3)
    planned = _beside(display, delivered[own, :, own].T)
    if not which:
        return planned, np.zeros((0, *planned.shape)), []
    played = Walls(display, [settled[n] for n in which])
    light = np.zeros((len(which), display.leds, 3))
    for colour, data in enumerate(data_of(colours, display)):
        starts_ns = 2 * colour * SECOND_NS
        shown = played.show(data, starts_ns, starts_ns + SECOND_NS)
        light[..., colour] = shown.light[..., colour]
    courses = np.stack([_beside(display, one) for one in light])
    return planned, courses, [candidates[n] for n in which]


def _beside(display: Display, light: Floats) -> Floats:
    """(N, 3) logarithms of light (N, 3), as `beside_smooth` gives the share of each; 0 for an LED
    without a cell, or that is dark."""
    wiring = display.wiring
    cells = np.full(display.picture_shape, np.nan)
    at = wiring.row[wiring.placed], wiring.column[wiring.placed]
    cells[at] = light[wiring.placed]
    share = np.ones((display.leds, 3))
    share[wiring.placed] = beside_smooth(cells, ~display.gap, ~display.gap)[at]
    return np.log(np.where(share > 0.1, share, 1.0))


def _of_pieces(found: Shades) -> Floats:
    """(N, 3) logarithms of the light of the pieces."""
    logs = np.zeros((len(found.light), 3))
    for piece in found.pieces:
        logs[piece.first : piece.last + 1] = np.log(piece.light[:3])
    return logs
