"""What a film of the coded pattern shows of each LED: a number, and which colours light.

The reading of an LED depends on its facts alone (`harness.campaign.facts`), so walls that might be
there are compared with the film LED by LED, each way that an LED may differ only once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display
from emulator.picture.srgb import LUMINANCE
from harness.campaign.facts import LedFacts, drives_of
from harness.campaign.watch import data_of, sent_drives
from harness.survey.seen import Seen
from harness.survey.standing import OPEN, around

# In place of a number: no light; light without a number that can be read; nothing is known.
DARK, UNREAD, UNKNOWN = -1, -2, -3

LIT = 0.3  # of the light that a colour should give, from which it counts as lit: an assumption
_FAINT = 0.1  # below which a cell is dark: an assumption
# If the code has more than this part of a colour beyond what all colours have, none is missing. It
# must be so many scatters of the cells, of which so many must have been read.
_PART, _SCATTERS, _FEW = 0.5, 2.0, 5
_FULL = 0.6  # of the light that a colour should give, of a cell that has it
# Slips: another number, or none; a number that is read where no light can be, which no other fault
# could bring about; a number that should be read and is not, though there is light.
_WRONG, _CANNOT_BE, _ODD = 1.0, 3.0, 0.05


@dataclass(frozen=True, eq=False)
class Readings:
    """Of U LEDs.

    position: (U,) of the LEDs. number: (U,) the number that each shows, or DARK, UNREAD, UNKNOWN.
    lit: (U, 4) whether its own channel lights in the red, the green and the blue picture, and
    whether it is brighter with all on than in the dark. known: (U, 4) where that can be said.
    """

    position: Ints
    number: Ints
    lit: Bools
    known: Bools

    def some(self, which: Ints) -> Self:
        """The readings of some of the LEDs."""
        return type(self)(
            self.position[which], self.number[which], self.lit[which], self.known[which]
        )


def of_facts(facts: LedFacts, display: Display) -> Readings:
    """What LEDs with these facts show."""
    chip = display.chip
    pictures = np.zeros((5, *display.picture_shape), dtype=np.uint8)  # white, dark, and colours
    pictures[0] = 255
    pictures[2:][np.arange(3), ..., np.arange(3)] = 255
    sent = sent_drives(pictures, display)
    drives = drives_of(facts, data_of(sent, display), display)
    light, planned = _light(drives, display) * facts.glow, _light(sent, display)
    light = light - light[1]  # what does not change is not read
    lit_on = light[0] > LIT * planned[0].max()
    wiring = display.wiring
    number_of = np.where(wiring.hidden, UNREAD, wiring.placed_number)
    lights = light.shape[2]
    shown = [
        np.where(lit_on & (one[:, :lights] >= 0), number_of[one[:, :lights] // len(chip.order)], -9)
        for one in (facts.source, facts.added)
    ]
    most = np.maximum(*shown).max(axis=1)
    least = np.minimum(*(np.where(one == -9, most[:, None], one) for one in shown)).min(axis=1)
    rgb = light[2:, :, :3] + (light[2:, :, 3:] if lights > 3 else 0)
    own, full = (
        np.diagonal(rgb, axis1=0, axis2=2),
        np.diagonal(planned[2:, :, :3], axis1=0, axis2=2),
    )
    lit = np.column_stack([own > LIT * full.max(axis=0), lit_on.any(axis=1)])
    number = np.where((most == least) & (most >= 0), most, UNREAD)
    number[~lit_on.any(axis=1) & (rgb < LIT * full.max()).all(axis=(0, 2))] = DARK
    return Readings(facts.position, number, lit, np.ones(lit.shape, dtype=bool))


def _light(drives: np.ndarray, display: Display) -> Floats:
    """(T, U, L) light of each channel, 1 at full drive."""
    lights = len(display.chip.channels.replace("I", ""))
    light = drives[..., :lights] / 255.0
    return light * drives[..., -1:] / 31.0 if "I" in display.chip.channels else light


def of_film(seen: Seen, share: Floats) -> Readings:
    """What the film shows at the cell of each LED of the plan, hidden ones too.

    share: (rows, columns, 4) red, green, blue and swing beside the smooth surface
    (`beside_smooth`).
    """
    wiring = seen.display.wiring
    number = np.full(len(wiring), UNKNOWN)
    at = wiring.row[wiring.placed], wiring.column[wiring.placed]
    read, light = seen.number[at], share[at]
    known = np.isfinite(light)
    may_light = np.array([why in OPEN for why in seen.why])
    number[wiring.placed] = np.select(
        [read >= 0, dark_cells(seen, share)[at] & ~may_light, (light > LIT).any(axis=1)],
        [read, DARK, UNREAD],
        UNKNOWN,
    )
    lit, judged = np.zeros((2, len(wiring), 4), dtype=bool)
    lit[wiring.placed] = light > LIT
    # Between dark and lit nothing is sure.
    judged[wiring.placed] = known & ((light > LIT) | (light < _FAINT))
    judged[wiring.placed, :3] &= _explained(seen, share)[at] | lit[wiring.placed, :3]
    judged[wiring.placed[may_light], 3] = False
    judged &= (number != UNKNOWN)[:, None]
    return Readings(np.arange(len(wiring)), number, lit, judged)


def _explained(seen: Seen, share: Floats) -> Bools:
    """(rows, columns, 3) whether it is believed that a cell lacks a colour, if it does.

    The light of the code is the sum of the colours' light. If one is missing in its picture alone,
    because of a lamp, a passer-by or the exposure, the cell is brighter in the code than its
    colours are together. A cell whose colours say little needs the code to confirm it; if the code
    cannot tell, cells around it must have the colour. Where the picture shows another colour
    instead, that is enough.
    """
    light = seen.hues @ LUMINANCE
    most = seen.hues.max(axis=3)
    read = (seen.number >= 0) & np.isfinite(light).all(axis=2) & (seen.swing > 0)
    least = [_least_around(share[..., k]) for k in range(3)]
    sure = ~seen.unsure_light[..., None] & (np.stack(least, axis=2) > _FULL)
    if read.sum() < _FEW:
        return np.asarray(sure)
    usual = np.maximum(np.median(light[read], axis=0), 0)
    limit = -np.log(1 - _PART * usual / max(float(usual.sum()), 1e-12))
    with np.errstate(invalid="ignore", divide="ignore"):
        excess = np.log(seen.swing / light.sum(axis=2))
        others = most > LIT * np.median(most[read], axis=0)
    excess -= np.median(excess[read])
    scatter = 1.4826 * np.median(np.abs(excess[read]))
    white = "W" in seen.display.chip.channels  # an LED of its own, which the colours do not have
    tells = np.full(3, False) if white else _SCATTERS * scatter < limit
    confirmed = tells & (excess[..., None] < limit)
    return np.asarray(others | confirmed | (sure & ~tells))


def _least_around(light: Floats) -> Floats:
    """(rows, columns) the least that is known of the eight cells around each; infinite for none."""
    nine = around(np.where(np.isfinite(light), light, np.inf), beyond=np.inf)
    return np.asarray(np.min([*nine[:4], *nine[5:]], axis=0))


def dark_cells(seen: Seen, share: Floats) -> Bools:
    """(rows, columns) cells that are surely dark: they do not blink, have no light in any colour
    that can be judged, and are beside no cell that is lit and could not be read."""
    dark = (share[..., 3] < _FAINT) & ~(share[..., :3] >= _FAINT).any(axis=2) & (seen.number < 0)
    vague = ~dark & (seen.number < 0) & ~seen.display.gap
    return np.asarray(dark & ~np.any(around(vague), axis=0))


def slips(expected: Readings, film: Readings) -> Floats:
    """(U,) how far each reading that is expected is from the film's; below 1 it may be right."""
    seen = film.some(expected.position)
    both = (expected.number >= 0) & (seen.number >= 0)
    number = np.select(
        [
            seen.number == UNKNOWN,
            both,
            (expected.number == DARK) & (seen.number >= 0),
            (expected.number == DARK) != (seen.number == DARK),
            expected.number != seen.number,  # one is UNREAD
        ],
        [0.0, np.where(expected.number != seen.number, _WRONG, 0.0), _CANNOT_BE, _WRONG, _ODD],
        0.0,
    )
    colours = ((expected.lit != seen.lit) & seen.known).any(axis=1)
    return number + np.where(colours & (number < _WRONG), _WRONG, 0.0)
