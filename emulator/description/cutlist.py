"""What to cut from which reel: the lengths of the runs, and the pieces packed on reels."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

from emulator.description.display import Display
from emulator.description.wiring import Run
from emulator.errors import OutOfRangeError


class Piece(NamedTuple):
    """One uncut piece of strip: LEDs `first` … `last` of its line, the whole run or a part."""

    run: int
    first: int
    last: int
    length_mm: float

    @property
    def leds(self) -> int:
        """How many LEDs the piece has."""
        return self.last - self.first + 1


@dataclass(frozen=True)
class Reel:
    """The pieces cut from one reel, in cutting order, and the LEDs left on it."""

    pieces: tuple[Piece, ...]
    left_over: int


@dataclass(frozen=True)
class CutList:
    """Pieces in the order of the data, and the reels of `reel_leds` LEDs they are cut from.

    joined: numbers of the runs that are longer than a reel and so are joined from pieces.
    fewest: no packing of these pieces needs fewer reels than this.
    """

    reel_leds: int
    pieces: tuple[Piece, ...]
    reels: tuple[Reel, ...]
    joined: tuple[int, ...]
    fewest: int


def direction(run: Run) -> str:
    """→ ← ↓ ↑ as the data runs, seen from the front; · for a single LED, which has no direction."""
    across, down = run.to_column - run.from_column, run.to_row - run.from_row
    if across:
        return "→" if across > 0 else "←"
    return "·" if down == 0 else "↓" if down > 0 else "↑"


def length_mm(display: Display, run: Run) -> float:
    """Length of a run in mm: LEDs × pitch, which includes half a pitch beyond each end LED."""
    return run.leds * display.geometry.pitch_mm(run)


def cut_list(display: Display, reel_leds: int | None = None) -> CutList:
    """What to cut from reels of `reel_leds` LEDs (None: the display's own).

    A run is one uncut piece. A run longer than a reel is joined from whole reels and a rest.
    The pieces are packed longest first, each on the first reel with room (first-fit
    decreasing). That rarely takes a reel too many; if it takes `fewest` reels, it is optimal.

    Raises OutOfRangeError when reel_leds is under 1.
    """
    reel_leds = display.reel_leds if reel_leds is None else reel_leds
    if reel_leds < 1:
        raise OutOfRangeError(f"a reel of {reel_leds} LEDs", fix="give at least 1.")
    pieces: list[Piece] = []
    joined: list[int] = []
    for number, run in enumerate(display.wiring.runs):
        pitch = display.geometry.pitch_mm(run)
        for first in range(run.first, run.last + 1, reel_leds):
            last = min(first + reel_leds - 1, run.last)
            pieces.append(Piece(number, first, last, (last - first + 1) * pitch))
        if run.leds > reel_leds:
            joined.append(number)
    return CutList(
        reel_leds,
        tuple(pieces),
        _pack(pieces, reel_leds),
        tuple(joined),
        _fewest(pieces, reel_leds),
    )


def _pack(pieces: Iterable[Piece], reel_leds: int) -> tuple[Reel, ...]:
    left: list[int] = []
    cut: list[list[Piece]] = []
    longest_first = sorted(pieces, key=lambda piece: -piece.leds)
    for leds, equal in groupby(longest_first, key=lambda piece: piece.leds):
        reel = 0  # a reel without room for one piece of this length has none for the next
        for piece in equal:
            while reel < len(left) and left[reel] < leds:
                reel += 1
            if reel == len(left):
                left.append(reel_leds)
                cut.append([])
            left[reel] -= leds
            cut[reel].append(piece)
    return tuple(Reel(tuple(c), n) for c, n in zip(cut, left, strict=True))


def _fewest(pieces: Sequence[Piece], reel_leds: int) -> int:
    """A lower bound for the number of reels.

    All LEDs must fit, and no reel holds more than reel_leds // n pieces of n LEDs or more.
    """
    bound = -(-sum(piece.leds for piece in pieces) // reel_leds)
    as_long = 0
    for leds, count in sorted(Counter(piece.leds for piece in pieces).items(), reverse=True):
        as_long += count
        bound = max(bound, -(-as_long // (reel_leds // leds)))
    return bound
