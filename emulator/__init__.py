"""A stand-in for a display of addressable LEDs: describe it, drive it, look at what it shows."""

from emulator.bench import Bench, Sent
from emulator.clock import Clock, RealClock, SimulatedClock
from emulator.description.chips import CHIPS, Chip, chip
from emulator.description.display import Display
from emulator.description.load import demo_names, load_display, parse_display
from emulator.description.wiring import Wiring, shorthand
from emulator.errors import (
    CaptureError,
    DisplayFileError,
    ForeglowError,
    FrameError,
    MapFileError,
    OutOfRangeError,
    OutputClosedError,
    PictureError,
    RecordingError,
    SceneError,
    SourceError,
    SubjectError,
    UnknownNameError,
    WindowError,
    WriteError,
)
from emulator.ports.output import Output, open_output
from emulator.recorder import Recorder
from emulator.recording.disk import DiskRecorder
from emulator.recording.recording import load_recording

__all__ = [
    "CHIPS",
    "Bench",
    "CaptureError",
    "Chip",
    "Clock",
    "DiskRecorder",
    "Display",
    "DisplayFileError",
    "ForeglowError",
    "FrameError",
    "MapFileError",
    "OutOfRangeError",
    "Output",
    "OutputClosedError",
    "PictureError",
    "RealClock",
    "Recorder",
    "RecordingError",
    "SceneError",
    "Sent",
    "SimulatedClock",
    "SourceError",
    "SubjectError",
    "UnknownNameError",
    "WindowError",
    "Wiring",
    "WriteError",
    "chip",
    "demo_names",
    "load_display",
    "load_recording",
    "open_output",
    "parse_display",
    "shorthand",
]
