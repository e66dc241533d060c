from .bench import Bench
from .clock import Clock, RealClock, SimulatedClock
from .description.chips import CHIPS, Chip, chip
from .description.display import Display
from .description.load import demo_names, load_display, parse_display
from .description.wiring import Wiring, shorthand
from .errors import (
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
from .leds import LedNumberError, Leds
from .ports.opening import open_output
from .ports.output import Output
from .recorder import Recorder
from .recording.disk import DiskRecorder
from .recording.recording import load_recording
from .strip import Sent

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
    "LedNumberError",
    "Leds",
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
