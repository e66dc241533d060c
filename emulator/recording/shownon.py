"""The display that a recording was made on."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from emulator.description.display import Display
from emulator.description.load import demo_names, load_display
from emulator.errors import RecordingError

if TYPE_CHECKING:  # a recording draws itself, on its display
    from emulator.recording.recording import Recording


def display_of(recording: Recording, display: Display | None = None) -> Display:
    """The display of a recording: the one given, or that of its file, or a demo of its name.

    It has the faults of the wall that was recorded. Raises RecordingError if there is none, or if
    its grid, channels or wiring differ; and what `load_display` raises, and FaultError.
    """
    shown = display
    if shown is None and recording.file is not None and Path(recording.file).is_file():
        shown = load_display(recording.file)
    if shown is None and recording.name in demo_names():
        shown = load_display(recording.name)
    if shown is None:
        raise RecordingError(
            f"the display file of '{recording.name}' is not at {recording.file}",
            fix="name the display file.",
        )
    same = (
        shown.picture_shape[:2] == (recording.rows, recording.columns)
        and shown.chip.channels == recording.channels
        and np.array_equal(shown.wiring.cell, recording.cell)
    )
    if not same:
        raise RecordingError(
            f"'{shown.name}' is not the display that was recorded: its grid, channels or wiring"
            " differ",
            fix="name the display file as it was then.",
        )
    shown = replace(shown, faults=())
    if not recording.faults:
        return shown
    # Here: few walls have faults, and the kinds take a while to load.
    from emulator.description.faults.reading import with_faults

    return with_faults(shown, recording.faults)
