"""A font of capitals 5 cells high, for walls too small for a larger one. Its shapes are our own."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

HEIGHT = 5

_ROWS = """
A .#.  B ##.  C .##  D ##.  E ###  F ###  G .##  H #.#  I #  J ..#  K #.#  L #..  M #...#
  #.#    #.#    #..    #.#    #..    #..    #..    #.#    #    ..#    #.#    #..    ##.##
  ###    ##.    #..    #.#    ##.    ##.    #.#    ###    #    ..#    ##.    #..    #.#.#
  #.#    #.#    #..    #.#    #..    #..    #.#    #.#    #    #.#    #.#    #..    #...#
  #.#    ##.    .##    ##.    ###    #..    .##    #.#    #    .#.    #.#    ###    #...#

N #..#  O .#.  P ##.  Q .#..  R ##.  S .##  T ###  U #.#  V #.#  W #...#  X #.#  Y #.#  Z ###
  ##.#    #.#    #.#    #.#.    #.#    #..    .#.    #.#    #.#    #...#    #.#    #.#    ..#
  #.##    #.#    ##.    #.#.    ##.    .#.    .#.    #.#    #.#    #.#.#    .#.    .#.    .#.
  #..#    #.#    #..    #.#.    #.#    ..#    .#.    #.#    #.#    ##.##    #.#    .#.    #..
  #..#    .#.    #..    .#.#    #.#    ##.    .#.    ###    .#.    #...#    #.#    .#.    ###

0 ###  1 .#.  2 ##.  3 ##.  4 #.#  5 ###  6 .##  7 ###  8 ###  9 ###
  #.#    ##.    ..#    ..#    #.#    #..    #..    ..#    #.#    #.#
  #.#    .#.    .#.    .#.    ###    ##.    ###    .#.    ###    ###
  #.#    .#.    #..    ..#    ..#    ..#    #.#    .#.    #.#    ..#
  ###    ###    ###    ##.    ..#    ##.    ###    .#.    ###    ##.

! #  ? ##.  . .  , ..  : .  ; ..  - ..  – ...  + ...  * ...  / ..#  \\ #..  ( .#
  #    ..#    .    ..    #    .#    ..    ...    .#.    #.#    ..#     #..    #.
  #    .#.    .    ..    .    ..    ##    ###    ###    .#.    .#.     .#.    #.
  .    ...    .    .#    #    .#    ..    ...    .#.    #.#    #..     ..#    #.
  #    .#.    #    #.    .    #.    ..    ...    ...    ...    #..     ..#    .#

) #.  [ ##  ] ##  ' #  " #.#  # .#.#.  % #.#  & .#..  = ...  < ..#  > #..  _ ...
  .#    #.    .#    #    #.#    #####    ..#    #.#.    ###    .#.    .#.    ...
  .#    #.    .#    .    ...    .#.#.    .#.    .#..    ...    #..    ..#    ...
  .#    #.    .#    .    ...    #####    #..    #.#.    ###    .#.    .#.    ...
  #.    ##    ##    .    ...    .#.#.    #.#    .#.#    ...    ..#    #..    ###

| #  $ .##  € .##  £ .##  ° ##  × ...  · .  @ .##.  ^ .#.
  #    ##.    #..    #..    ##    #.#    .    #.##    #.#
  #    .#.    ##.    ##.    ..    .#.    #    #.##    ...
  #    .##    #..    #..    ..    #.#    .    #...    ...
  #    ##.    .##    ###    ..    ...    .    .##.    ...
"""

_SPELT = {
    "ß": "SS",
    "Æ": "AE",
    "Œ": "OE",
    "Ø": "O",
    "—": "–",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
}


def spelt(text: str) -> str:
    """A text in the letters of this font: capitals without accents. Others stay as they are."""
    upper = "".join(_SPELT.get(c, c) for c in text.upper())
    parts = unicodedata.normalize("NFD", upper)
    return "".join(c for c in parts if not unicodedata.combining(c))


@lru_cache(maxsize=1)
def small_font() -> dict[str, NDArray[np.bool_]]:
    """(5, width) bool of each letter; a space is two cells wide."""
    glyphs = {" ": np.zeros((HEIGHT, 2), bool)}
    for block in _ROWS.replace("\\\\", "\\").strip("\n").split("\n\n"):
        first, *rest = (line.split() for line in block.split("\n"))
        for number, (letter, top) in enumerate(zip(first[::2], first[1::2], strict=True)):
            rows = [top, *(line[number] for line in rest)]
            glyphs[letter] = np.array([[cell == "#" for cell in row] for row in rows])
    return glyphs
