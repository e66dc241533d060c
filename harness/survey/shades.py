"""LEDs and pieces of strip that give less light than those around them, or another hue.

All is beside the smooth surface through the wall (`evenness`), so that neither a telephone's dark
corners nor the angle of view count. A piece is found in the order of the data: by the median of a
few LEDs that follow each other, which single LEDs do not move.

The thresholds are assumptions, no source. LEDs of one batch differ by some per cent (WS2812B
datasheet, Worldsemi: 390–420 mcd red, 660–720 green, 180–200 blue), and a camera adds noise: a
difference counts if it is also several times the scatter of this wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display
from emulator.description.faults.strip import Colour
from emulator.description.wiring import Wiring

_WEAK = 0.75  # of the light of its surroundings: an LED below is weak
_WEAK_OF_FEW = 0.45  # in all colours, on a wall with few LEDs: a lens darkens its corners as much
_FEW_LEDS = 60  # from which on the surface follows the corners (`evenness`)
_PIECE = 0.07  # natural logarithm of light by which a piece differs
_BATCH = 0.6  # by which batches differ at most; more comes of what is printed on the front
_SCATTERS = 6.0
_LOOKS = 4.0  # scatters, of the median of a few LEDs, by which a piece is looked for
_FEW = 6  # LEDs that a piece has at least
_BESIDE = 5  # LEDs, an odd number, of whose light the median is taken
_ALIKE = 0.8  # of its LEDs that have at least half of its difference
_JUMPS = 0.85  # of its difference, by which a piece differs from the cells beside it, at least
_OTHERS, _OTHERS_SCATTERS = 0.1, 3.0  # by which other colours of an LED with a weak one may be off
_CAST = 0.04  # natural logarithm by which colours differ, before a piece has another hue
_LEAST = 0.1  # of the light of its surroundings: below, a colour is taken to be missing
_FLICKERS = 0.15  # variation of a steady light
# If more LEDs than this many and this share, other than pieces, differ from the smooth surface by
# this natural logarithm, it is what is in front of them.
_UNLIKE, _FEW_UNLIKE, _SHARE_UNLIKE = 0.25, 3, 0.02

COLOURS: tuple[Colour, ...] = get_args(Colour)


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of a line with other light. first, last: positions. light: (L,) beside the rest."""

    first: int
    last: int
    light: Floats

    @property
    def cast(self) -> bool:
        """Whether colours differ, and not only brightness."""
        return bool(np.ptp(np.log(self.light)) > _CAST)


@dataclass(frozen=True, eq=False)
class Shades:
    """light: (N, L) of each LED beside its surroundings, NaN unknown; L of COLOURS. weak: (N, L)
    colours in which a single LED is weak. flickers: (N,). crowded: (N,) LEDs that are weak beside
    others, or in colours beside others, that differ as well, as a print or a lamp in front of them
    would have it."""

    light: Floats
    weak: Bools
    pieces: tuple[Piece, ...]
    flickers: Bools
    crowded: Bools


def shades(display: Display, share: Floats, flicker: Floats) -> Shades:
    """share: (rows, columns, 4) red, green, blue and swing beside the surface. flicker: (rows,
    columns). With a white channel, the swing is its light."""
    wiring = display.wiring
    share = share[..., : len(display.chip.channels.replace("I", ""))]
    light = np.full((len(wiring), share.shape[2]), np.nan)
    at = wiring.row[wiring.placed], wiring.column[wiring.placed]
    light[wiring.placed] = share[at]
    around = _around(wiring)
    found = [one for one in _pieces(wiring, light) if _stands_out(one, light, around, wiring)]
    pieces = tuple(one for one in found if not _touches(one, found, around))
    rest = light.copy()
    for piece in pieces:
        rest[piece.first : piece.last + 1] /= piece.light
    beside = rest / np.maximum(_medians_of(rest, around), _LEAST)
    weak = (rest < _WEAK) & (beside < _WEAK) & (rest > _LEAST)
    if len(wiring.placed) < _FEW_LEDS:  # a lens darkens all colours alike
        weak &= (rest < _WEAK_OF_FEW) | (rest < _WEAK * rest.max(axis=1, keepdims=True))
    scatter = _scatter(np.log(np.maximum(rest, _LEAST)))
    weak &= rest < np.exp(-_SCATTERS * scatter)
    off = np.abs(np.log(np.maximum(rest, _LEAST)))
    tinted = (~weak & (off > np.maximum(_OTHERS, _OTHERS_SCATTERS * scatter))).any(axis=1)
    tinted |= weak[:, :3].sum(axis=1) == 2
    crowded = weak.any(axis=1) & (tinted | _beside_others(rest, around, scatter))
    weak[crowded] = False
    trembles = np.zeros(len(wiring), dtype=bool)
    trembles[wiring.placed] = flicker[at] > np.fmax(_FLICKERS, _SCATTERS * _spread(flicker))
    return Shades(light, weak, pieces, trembles, crowded)


def without_print(found: Shades, display: Display) -> tuple[Shades, str]:
    """The shades, without pieces that differ as rows or columns do; without weak LEDs and pieces if
    the whole wall is uneven, as behind a print; and why these are unknown, or ''."""
    rest = found.light.copy()
    for piece in found.pieces:
        rest[piece.first : piece.last + 1] /= piece.light
    known = np.isfinite(rest).all(axis=1)
    unlike = np.abs(np.log(np.maximum(rest[known], _LEAST))).max(axis=1, initial=0) > _UNLIKE
    if unlike.sum() <= max(_FEW_UNLIKE, _SHARE_UNLIKE * known.sum()):
        pieces = [
            one for one in found.pieces if not _is_of_a_line(one, found.light, display.wiring)
        ]
        return replace(found, pieces=tuple(pieces)), ""
    why = "the light differs from cell to cell all over the wall, as behind a printed front"
    none = np.zeros_like(found.weak)
    return replace(found, weak=none, pieces=(), crowded=none[:, 0]), why


def _around(wiring: Wiring) -> Ints:
    """(N, 8) positions of the LEDs in the cells around each LED, those beside it first; -1 where
    there is none."""
    at = np.pad(wiring.led_at, 1, constant_values=-1)
    steps = [(0, 1), (1, 0), (1, 2), (2, 1), (0, 0), (0, 2), (2, 0), (2, 2)]
    return np.stack([at[wiring.row + y, wiring.column + x] for y, x in steps], axis=1)


def _medians_of(light: Floats, around: Ints) -> Floats:
    """(N, L) median light of the LEDs around each; NaN without any."""
    beside = np.where((around >= 0)[..., None], light[around], np.nan)
    known = np.asarray(np.isfinite(beside).any(axis=1))
    return np.where(known, np.nanmedian(np.where(known[:, None], beside, 1.0), axis=1), np.nan)


def _beside_others(rest: Floats, around: Ints, scatter: Floats) -> Bools:
    """(N,) LEDs beside which one differs from the smooth surface in a colour."""
    off = np.abs(np.log(np.maximum(rest, _LEAST))) > np.maximum(_UNLIKE, _SCATTERS * scatter)
    differs = np.append(off.any(axis=1), False)  # -1: without one
    return np.asarray(differs[around[:, :4]].any(axis=1))


def _stands_out(piece: Piece, light: Floats, around: Ints, wiring: Wiring) -> bool:
    """Whether the light jumps at the edge of a piece, and only along the wire: what grows slowly is
    of the camera, and a block of cells is of a print."""
    leds = np.arange(piece.first, piece.last + 1)
    outside = np.where(
        (around[leds] >= piece.first) & (around[leds] <= piece.last), -1, around[leds]
    )
    beside = np.maximum(_medians_of(light, outside), _LEAST)
    jumps = np.log(np.maximum(light[leds] / beside, _LEAST))
    if not np.isfinite(jumps).any(axis=0).all():
        return False
    off = np.log(piece.light)
    most = int(np.abs(off).argmax())
    if _is_block(leds, wiring):
        return False
    each = np.log(np.maximum(light[leds, most], _LEAST)) / off[most]
    alike = np.mean(each[np.isfinite(each)] > 0.5) > _ALIKE
    return bool(alike and np.nanmedian(jumps[:, most]) / off[most] > _JUMPS)


def _touches(piece: Piece, pieces: Sequence[Piece], around: Ints) -> bool:
    """Whether another piece lies beside one: a print in front of both has it so."""
    beside = around[piece.first : piece.last + 1, :4]
    others = (one for one in pieces if one is not piece)
    return any(bool(((beside >= one.first) & (beside <= one.last)).any()) for one in others)


def _is_block(leds: Ints, wiring: Wiring) -> bool:
    """Whether LEDs fill a rectangle of several rows and columns, other than whole rows or columns.

    A strip that goes up and down would have to begin and end at the same column by chance.
    """
    row, column = wiring.row[leds], wiring.column[leds]
    high, wide = int(np.ptp(row)) + 1, int(np.ptp(column)) + 1
    whole = wide == wiring.columns or high == wiring.rows
    return min(high, wide) > 1 and high * wide == leds.size and not whole


def _is_of_a_line(piece: Piece, light: Floats, wiring: Wiring) -> bool:
    """Whether a piece is a stretch of a row or column, or of some, and the others differ there as
    well: usually by how cells meet the pixels of the camera. light: (N, L)."""
    leds = np.arange(piece.first, piece.last + 1)
    off = np.log(piece.light)
    most = int(np.abs(off).argmax())
    log = np.log(np.maximum(light[:, most], _LEAST))
    for line, across in ((wiring.row, wiring.column), (wiring.column, wiring.row)):
        own, there = np.unique(line[leds]), np.unique(across[leds])
        if own.size < there.size:
            beside = np.isfinite(log) & np.isin(across, there) & ~np.isin(line, own)
            others = [np.median(log[beside & (line == n)]) for n in np.unique(line[beside])]
            scatter = 1.4826 * float(np.median(np.abs(others - np.median(others)))) if others else 0
            return abs(float(off[most])) < _SCATTERS * scatter
    return False


def _spread(flicker: Floats) -> float:
    """Robust standard deviation of what is beyond the wall's median; 0 in half of the cells."""
    known = flicker[np.isfinite(flicker)]
    return 1.4826 * float(np.quantile(known, 0.75)) if known.size else 0.0


def _scatter(log: Floats) -> Floats:
    """(L,) robust standard deviation of logarithms (N, L) around the surface."""
    known = np.isfinite(log).any(axis=0)
    if not known.all():
        return np.zeros(log.shape[1])
    return np.asarray(1.4826 * np.nanmedian(np.abs(log), axis=0))


def _pieces(wiring: Wiring, light: Floats) -> tuple[Piece, ...]:
    """Stretches whose median light is off in a colour."""
    usable = np.where((light > _LEAST).all(axis=1, keepdims=True), light, np.nan)
    log = np.log(usable)
    if np.isfinite(log).all(axis=1).sum() < 2 * _FEW:
        return ()
    lines = [
        leds
        for line in range(len(wiring.line_lengths))
        if (leds := np.flatnonzero((wiring.line == line) & np.isfinite(log).all(axis=1))).size
        >= _FEW
    ]
    if not lines:
        return ()
    medians = [_medians(log[leds]) for leds in lines]
    # The median of five normal values scatters by 0.54 of one (order statistics; from memory). More
    # than that have prints, and bands of a shutter, which LEDs side by side share.
    scatter = np.maximum(0.54 * _scatter(log), _scatter(np.concatenate(medians)))
    least = np.maximum(_PIECE, _LOOKS * scatter)
    found: list[Piece] = []
    for leds, middles in zip(lines, medians, strict=True):
        off = np.asarray((np.abs(middles) > least).any(axis=1))
        ends = [_ends(log[leds], begin, end) for begin, end in _stretches(off)]
        taken = np.zeros(leds.size, dtype=bool)
        for begin, end in sorted(ends, key=lambda piece: piece[0] - piece[1]):  # the longest first
            if end - begin + 1 >= _FEW and not taken[begin : end + 1].any():
                taken[begin : end + 1] = True
                middle = np.median(log[leds[begin : end + 1]], axis=0)
                sure = np.maximum(
                    _PIECE, _SCATTERS * scatter * np.sqrt(_BESIDE / (end - begin + 1))
                )
                if (np.abs(middle) > sure).any() and (np.abs(middle) < _BATCH).all():
                    found.append(Piece(int(leds[begin]), int(leds[end]), np.exp(middle)))
    return tuple(found)


def _medians(log: Floats) -> Floats:
    """(M, L) medians of _BESIDE LEDs in a row, fewer at the ends."""
    half = _BESIDE // 2
    wide = np.pad(log, ((half, half), (0, 0)), constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(wide, _BESIDE, axis=0)
    return np.asarray(np.nanmedian(windows, axis=-1))


def _stretches(off: Bools) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off, [0]])))
    return list(zip(edges[::2].tolist(), (edges[1::2] - 1).tolist(), strict=True))


def _ends(log: Floats, begin: int, end: int) -> tuple[int, int]:
    """The exact ends of a piece: those with which its light explains most of the line's.

    By absolute values, so that a weak LED beside it does not count for many.
    """
    inner = np.median(log[begin : end + 1], axis=0)
    gain = np.abs(log).sum(axis=1) - np.abs(log - inner).sum(axis=1)
    middle = (begin + end) // 2
    first = middle - int(np.cumsum(gain[middle::-1]).argmax())
    return first, middle + int(np.cumsum(gain[middle:]).argmax())
