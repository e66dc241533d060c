"""The rig of a soak: the emulated display, the time that its scene sees, and the active fault."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

from numpy.typing import ArrayLike

from emulator.arrays import Picture
from emulator.bench import Bench, WireData
from emulator.picture.camera import Camera
from emulator.picture.source import close_source
from emulator.ports.output import Output
from emulator.strip import Sent
from harness.patterns.sources import PictureAt
from harness.simulated.machine_time import MachineTime
from harness.soak.player import SceneClock


class ShowFault:
    """Base of the faults: something that goes wrong for a while. This class does nothing.

    While the fault is active, `picture`, `camera` and `send` intercept what the show uses. `begin`,
    `step` (after every frame) and `end` change the rig. `findings` are sentences about bad effects,
    apart from a scene that does not come back, which the soak notices anyway.

    name: on the command line. what: in words. lasts_s: how many seconds it is active.
    """

    name: ClassVar[str]
    what: ClassVar[str]
    lasts_s: ClassVar[float] = 1.0

    def begin(self, rig: Rig) -> None:
        """The fault begins."""

    def step(self, rig: Rig, gone_s: float) -> None:
        """A frame has been shown, `gone_s` seconds after the start of the fault."""

    def end(self, rig: Rig) -> None:
        """The fault ends."""

    def picture(self, draw: PictureAt, time_s: float, rig: Rig) -> Picture:
        """The picture that the scene returns for a request."""
        return draw(time_s)

    def camera(self) -> None:
        """Called when the scene asks a Camera: raises, or does nothing."""

    def send(self) -> None:
        """Called when the show sends to the output: raises, or does nothing."""

    @property
    def tried(self) -> bool:
        """Whether it has affected the show at all, once it is over."""
        return True

    def told(self) -> str:
        """Remarks about it, once it is over."""
        return ""

    def findings(self) -> list[str]:
        """What did not recover, once the fault is over."""
        return []


@dataclass
class Rig:
    """folder: for files of faults. fault: the active one. has_camera: the scene has asked a Camera
    for its picture."""

    bench: Bench
    machine_time: MachineTime
    scene_clock: SceneClock
    folder: Path
    fault: ShowFault = field(default_factory=ShowFault)
    has_camera: bool = False

    def source(self, draw: PictureAt) -> PictureAt:
        """A scene, with the fault that may be active."""
        return _Faulty(draw, self)


class _Faulty:
    def __init__(self, draw: PictureAt, rig: Rig) -> None:
        self._draw, self._rig = draw, rig

    def __call__(self, time_s: float) -> Picture:
        # The fault intercepts every Camera of the program, wherever the scene keeps it.
        with Camera.asked_after(self._ask_camera):
            return self._rig.fault.picture(self._draw, time_s, self._rig)

    def close(self) -> None:
        close_source(self._draw)

    def _ask_camera(self) -> None:
        self._rig.has_camera = True
        self._rig.fault.camera()


class RigOutput(Output):
    """The rig's bench as an output that can be lost, and opened again."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self.bench = rig.bench
        rig.fault.send()

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send. Raises what the active fault raises."""
        self._rig.fault.send()
        return self.bench.send(picture)

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame. Raises what the active fault raises."""
        self._rig.fault.send()
        return self.bench.send_frame(data)

    def close(self) -> None:
        """Does nothing: the rig keeps its bench."""
