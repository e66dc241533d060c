"""What the cutter and the material are: bed, kerf, thickness, and a line for each operation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from emulator.errors import ForeglowError

Operation = Literal["engrave", "inside", "cut"]
# In the order of the work: a part that is cut free moves, so its outline comes last.
OPERATIONS: tuple[Operation, ...] = ("engrave", "inside", "cut")
WORDS: Mapping[Operation, str] = {
    "engrave": "engrave",
    "inside": "cut inside, first",
    "cut": "cut through, last",
}
# Names of colours that every DXF reader has by number (AutoCAD Color Index, from the DXF
# reference of Autodesk); 7 is black on a light background.
COLOURS: Mapping[str, int] = {
    "red": 1,
    "yellow": 2,
    "green": 3,
    "cyan": 4,
    "blue": 5,
    "magenta": 6,
    "black": 7,
}
THICKNESS_MM = 2.0  # of slats where neither the display file nor you say it: own figure
SPACE_MM = 2.0  # between parts on the bed: own figure


class CutError(ForeglowError, ValueError):
    """The parts of a display cannot be cut like that: `.problem`, `.place`, `.fix`."""


@dataclass(frozen=True)
class Line:
    """Layer and colour (1 to 255, AutoCAD Color Index) of an operation."""

    layer: str
    colour: int


@dataclass(frozen=True)
class Settings:
    """Lengths in mm.

    bed: width and height that the cutter reaches. kerf: width of what the beam takes away. fit:
    what slots are wider than the slat in them. thickness: of the slats, None: by the display file.
    strip: width and height of the notch for the LED strip.
    """

    bed: tuple[float, float] = (600.0, 400.0)
    kerf: float = 0.15
    fit: float = 0.0
    thickness: float | None = None
    strip: tuple[float, float] = (12.0, 2.0)
    lines: Mapping[Operation, Line] = field(
        default_factory=lambda: {
            "engrave": Line("1-engrave", 5),
            "inside": Line("2-inside", 3),
            "cut": Line("3-cut", 6),
        }
    )

    @property
    def bed_words(self) -> str:
        """'300 × 200 mm'."""
        return f"{self.bed[0]:g} × {self.bed[1]:g} mm"
