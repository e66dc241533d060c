"""A frame on its way to browsers, and what pages say about it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.view.controls import State
from emulator.view.gauges import gauges
from emulator.view.reading import read_cell
from emulator.view.status import Status, clock_words
from emulator.view.trouble import CLOSING
from emulator.view.viewing import Viewing


@dataclass(frozen=True, eq=False)
class Frame:
    """What the LEDs show, and the state then; it never changes.

    number: counts changes of the light and of the view. drives: (N, C). light: (N, 3). time_ns:
    when it came, on the machine's clock.
    """

    number: int
    drives: NDArray[np.uint8]
    light: Light
    status: Status
    viewing: Viewing
    paused: bool
    real_time: bool
    source: int
    time_ns: int

    @classmethod
    def of(
        cls,
        before: Frame | None,
        drives: NDArray[np.uint8],
        light: Light,
        status: Status,
        state: State,
        time_ns: int,
    ) -> Frame:
        """The frame after `before`."""
        same = (
            before is not None
            and before.viewing == state.viewing
            and not state.viewing.night  # the eye may still adapt
            and np.array_equal(before.light, light)
        )
        number = 1 if before is None else before.number + (not same)
        return cls(
            number,
            drives,
            light,
            status,
            state.viewing,
            state.paused,
            state.real_time,
            state.playing,
            time_ns,
        )

    def told(self, quiet_s: int) -> dict[str, Any]:
        """What every page says; quiet_s: for so long the program has shown nothing."""
        status = self.status
        trouble = None
        if status.trouble is not None:
            trouble = asdict(status.trouble) | {"closing": CLOSING}
        return {
            "kind": "told",
            "time": clock_words(status.time_ns),
            "real": self.real_time,
            "paused": self.paused,
            "playing": status.playing,
            "source": self.source,
            "gauges": [asdict(gauge) for gauge in gauges(self.viewing, status)],
            "trouble": trouble,
            "quiet_s": quiet_s,
            "seen": self.viewing.words,
        }

    def card(self, display: Display, cell: tuple[int, int] | None) -> dict[str, str] | None:
        """The card of a picked cell (column, row)."""
        if cell is None:
            return None
        read = read_cell(display, self.drives, cell)
        return {
            "cell": read.cell,
            "place": read.place,
            "drive": read.drive,
            "colour": read.colour_name,
        }
