"""What may be wrong: every single fault that the search looks at."""

from __future__ import annotations

from emulator.description.display import Display
from emulator.description.faults.fault import Fault, Stage
from emulator.description.faults.kinds import KINDS

STAGES: tuple[Stage, ...] = ("wiring", "strip", "light")


def suspects_of(display: Display) -> tuple[Fault, ...]:
    """Each kind of wiring, strip and light at each place of a display."""
    return tuple(
        fault
        for kind in KINDS.values()
        if kind.stage in STAGES
        for fault in kind.everywhere(display)
    )
