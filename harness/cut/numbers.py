"""Numbers as single strokes, which an engraver follows: no fonts."""

from __future__ import annotations

# Each letter is strokes of points on a raster 2 wide and 4 high, from its lower left corner: '24'
# is x = 2, y = 4.
_STROKES = {
    "0": ("00 20 24 04 00",),
    "1": ("03 14 10", "00 20"),
    "2": ("04 24 22 02 00 20",),
    "3": ("04 24 20 00", "02 22"),
    "4": ("20 24 01 21",),
    "5": ("24 04 02 22 20 00",),
    "6": ("24 04 00 20 22 02",),
    "7": ("04 24 10",),
    "8": ("02 00 20 24 04 02 22",),
    "9": ("00 20 24 04 02 22",),
    "F": ("00 04 24", "02 12"),
    "W": ("04 00 12 20 24",),  # for walls: an S would look like a 5
}
_STEP = 3  # from letter to letter, in units of the raster
Stroke = tuple[tuple[float, float], ...]


def strokes(text: str, middle: tuple[float, float], width: float, height: float) -> list[Stroke]:
    """Lines that write a text around a point, as large as fits a box, in mm."""
    across = _STEP * len(text) - 1
    unit = min(width / across, height / 4)
    left, low = middle[0] - unit * across / 2, middle[1] - 2 * unit
    return [
        tuple(
            (left + unit * (_STEP * number + int(point[0])), low + unit * int(point[1]))
            for point in stroke.split()
        )
        for number, letter in enumerate(text)
        for stroke in _STROKES[letter]
    ]
