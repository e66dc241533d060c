from .bench import Bench
from .clock import Clock, RealClock, SimulatedClock
from .description.chips import CHIPS, Chip, chip
from .description.display import Display
from .description.load import demo_names, load_display, parse_display
from .description.wiring import Wiring, shorthand
from .errors import (
    CaptureError,
    DisplayFileError,
    FaultError,
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
    UnsupportedError,
    WindowError,
    WriteError,
)
from .leds import LedNumberError, Leds
from .picture.source import ClosingSource
from .ports.address import Address, AddressError
from .ports.opening import open_output
from .ports.output import Output
from .ports.remote import RemoteOutput
from .ports.serial.port import LinkError
from .recorder import Recorder
from .recording.disk import DiskRecorder
from .recording.recording import load_recording
from .strip import Sent

__all__ = [
    "CHIPS",
    "Address",
    "AddressError",
    "Bench",
    "CaptureError",
    "Chip",
    "Clock",
    "ClosingSource",
    "DiskRecorder",
    "Display",
    "DisplayFileError",
    "FaultError",
    "ForeglowError",
    "FrameError",
    "LedNumberError",
    "Leds",
    "LinkError",
    "MapFileError",
    "OutOfRangeError",
    "Output",
    "OutputClosedError",
    "PictureError",
    "RealClock",
    "Recorder",
    "RecordingError",
    "RemoteOutput",
    "SceneError",
    "Sent",
    "SimulatedClock",
    "SourceError",
    "SubjectError",
    "UnknownNameError",
    "UnsupportedError",
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
