"""A display: the frozen, checked facts of one display file."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emulator.description.board import BoardSection
from emulator.description.camera import Camera
from emulator.description.canvas import CanvasSection
from emulator.description.chips import Chip
from emulator.description.faults.fault import Fault
from emulator.description.feeding import complete_power
from emulator.description.geometry import Geometry
from emulator.description.light import Cover, View
from emulator.description.placement import Placement
from emulator.description.power import PowerSection
from emulator.description.sections import Controller, Grid
from emulator.description.wiring import Wiring
from emulator.plaintext import clean


@dataclass(frozen=True)
class Display:
    """The display to build: the sections of a display file, checked and frozen.

    `path` is the display file, None for a display made in code. `power` is as the file gives it;
    `complete_power` fills in what depends on the display.
    """

    name: str
    grid: Grid
    chip: Chip
    wiring: Wiring
    controller: Controller = field(default_factory=Controller)
    canvas: CanvasSection = field(default_factory=CanvasSection)
    cover: Cover = field(default_factory=Cover)
    view: View = field(default_factory=View)
    camera: Camera | None = None
    power: PowerSection = field(default_factory=PowerSection)
    board: BoardSection = field(default_factory=BoardSection)
    reel_leds: int = 150
    about: str = ""
    path: Path | None = None
    faults: tuple[Fault, ...] = ()

    @property
    def leds(self) -> int:
        """N, the LEDs of all lines, hidden ones too: what the wire carries."""
        return len(self.wiring)

    @property
    def leds_in_words(self) -> str:
        """'576 LEDs WS2812B', '577 LEDs WS2812B (1 hidden)', '192 groups of 3 LEDs WS2811-LOW'."""
        each, hidden = self.chip.in_series, int(self.wiring.hidden.sum())
        noun = "LED" if each == 1 else f"groups of {each} LED"
        ending = "" if self.leds == 1 and each == 1 else "s"
        return f"{self.leds} {noun}{ending} {self.chip.part}" + (
            f" ({hidden} hidden)" if hidden else ""
        )

    @property
    def in_words(self) -> str:
        """'36 × 20 cells, 576 LEDs WS2812B on 5 lines'."""
        lines = len(self.wiring.line_names)
        return (
            f"{self.grid.columns} × {self.grid.rows} cells, {self.leds_in_words}"
            f" on {lines} line{'s' * (lines != 1)}"
        )

    @property
    def in_turn(self) -> bool:
        """Whether there are several lines, which are sent one after the other."""
        return len(self.wiring.line_names) > 1 and self.controller.sends_lines == "in turn"

    @property
    def picture_shape(self) -> tuple[int, int, int]:
        """Shape of a picture for this display: (rows, columns, 3)."""
        return self.grid.rows, self.grid.columns, 3

    @cached_property
    def gap(self) -> NDArray[np.bool_]:
        """(rows, columns) bool, True for a cell that shows nothing."""
        return self.grid.gap_mask()

    @cached_property
    def placement(self) -> Placement:
        """Where the cells are on the board."""
        camera_gap = None if self.camera is None else self.camera.gap
        return Placement.of(
            self.grid, self.board, self.cover.off_centre_mm, self.wiring.along, camera_gap
        )

    @cached_property
    def geometry(self) -> Geometry:
        """The places of LEDs, strips, holes and wires on the board."""
        return Geometry(self)

    @cached_property
    def whole_power(self) -> PowerSection:
        """`power` with every key filled in."""
        return complete_power(self.power, self.chip, self.wiring, self.placement)

    def _repr_html_(self) -> str:
        """What a notebook shows: the facts of the display, as a table."""
        grid, cover, view = self.grid, self.cover, self.view
        across, down = grid.pitches_mm
        lines = ", ".join(
            f"{name}: {length} LEDs"
            for name, length in zip(self.wiring.line_names, self.wiring.line_lengths, strict=True)
        )
        walls = "no walls" if cover.walls == "none" else f"{cover.walls} walls"
        facts = {
            "about": self.about,
            "grid": f"{grid.columns} columns × {grid.rows} rows, {self.leds_in_words}",
            "size": f"{grid.columns * across:.0f} × {grid.rows * down:.0f} mm,"
            f" pitch {across:g} × {down:g} mm",
            "order": f"{self.chip.order} on the wire",
            "lines": lines,
            "cover": f"{cover.depth_mm:g} mm deep, {walls}",
            "view": f"from {view.distance_m:g} m in {view.ambient_lx:g} lx",
        }
        rows = "".join(
            f"<tr><th>{name}</th><td>{escape(clean(fact))}</td></tr>"
            for name, fact in facts.items()
            if fact
        )
        return f"<table><caption>{escape(clean(self.name))}</caption>{rows}</table>"
