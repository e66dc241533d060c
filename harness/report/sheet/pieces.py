"""The pieces of strip by name: run 3 is one piece, or the pieces 3a, 3b … joined."""

from __future__ import annotations

from typing import NamedTuple

from emulator.description.cutlist import CutList, Piece
from emulator.description.display import Display
from emulator.description.geometry import Geometry
from harness.report.sheet.page import Point

_HALF_TICK_MM = 7.0

Joint = tuple[str, tuple[Point, Point]]  # the name of the piece after it, a line across the strip


class NamedPiece(NamedTuple):
    """A piece, its name, and the number of the reel it is cut from."""

    name: str
    piece: Piece
    reel: int


def named_pieces(cuts: CutList) -> list[NamedPiece]:
    """The pieces in the order of the data."""
    reels = {piece: number for number, reel in enumerate(cuts.reels) for piece in reel.pieces}
    found: list[NamedPiece] = []
    part = 0
    for number, piece in enumerate(cuts.pieces):
        part = part + 1 if number and cuts.pieces[number - 1].run == piece.run else 0
        name = f"{piece.run}{letters(part).lower()}" if piece.run in cuts.joined else f"{piece.run}"
        found.append(NamedPiece(name, piece, reels[piece]))
    return found


def letters(number: int) -> str:
    """A, B … Z, AA, AB … for 0, 1 …"""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(65 + rest) + text
    return text


def joint_ticks(display: Display, geometry: Geometry, cuts: CutList) -> list[Joint]:
    """Each joint within a run: the name of the piece after it, and a line across the strip."""
    found: list[Joint] = []
    for name, piece, _ in named_pieces(cuts):
        run = display.wiring.runs[piece.run]
        if piece.first == run.first:
            continue
        (dx, dy), half = geometry.headings[piece.run], geometry.pitch_mm(run) / 2
        x, y = geometry.led_mm[display.wiring.line_starts[run.line] + piece.first].tolist()
        x, y = x - dx * half, y - dy * half
        aside = abs(dy) * _HALF_TICK_MM, abs(dx) * _HALF_TICK_MM
        found.append((name, ((x - aside[0], y - aside[1]), (x + aside[0], y + aside[1]))))
    return found
